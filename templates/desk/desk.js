"use strict";
// Only the parts that differ are put in: the rest of the page, and where it is scrolled to, stays.
const parts = (root) => new Map([...root.querySelectorAll("[data-part]")].map((part) => [part.dataset.part, part]));
const ready = (image) => image.decode().catch(() => {});  // one that cannot be had stays empty, and says so by its text
let asked = 0, shown = 0;
async function refresh() {
  const mine = ++asked;
  const answer = await fetch("/", { cache: "no-store" });
  if (!answer.ok) return;
  const next = new DOMParser().parseFromString(await answer.text(), "text/html");
  const large = next.getElementById("picture");
  if (large) { const ahead = new Image(); ahead.src = large.getAttribute("src"); await ready(ahead); }  // no empty frame between two pictures
  if (mine < shown) return;  // a later one was quicker
  shown = mine;
  document.title = next.title;
  const [old, now] = [parts(document), parts(next)];
  const alike = [...old.keys()].join("\n") === [...now.keys()].join("\n");
  for (const [name, part] of now) {
    const there = old.get(name);
    if (alike && name === "cards") { there.hidden = part.hidden; continue; }  // its cards are parts of their own
    if (there && there.isConnected && there.outerHTML !== part.outerHTML) {
      const open = [...there.querySelectorAll("details")].map((details) => details.open);
      const fresh = document.importNode(part, true);
      fresh.querySelectorAll("details").forEach((details, index) => { details.open = open[index] || false; });
      there.replaceWith(fresh);
    }
  }
}
const events = new EventSource(document.body.dataset.events);
events.addEventListener("message", refresh);
events.addEventListener("error", () => {
  const said = document.getElementById("said");
  said.textContent = said.dataset.ended;
  said.classList.add("away");
});
