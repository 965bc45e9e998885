"use strict";
// The desk's page: it is loaded again whenever something has changed, and only what differs is replaced.
const base = document.body.dataset.base;
const editing = "editing" in document.body.dataset;
const $ = (selector, root = document) => root.querySelector(selector);
const all = (selector, root = document) => [...root.querySelectorAll(selector)];
const say = (words) => { $("#news").textContent = words; };

// ------------------------------------------------------------------ loading again

const isDirty = (field) => field.matches("select") ? [...field.options].some((o) => o.selected !== o.defaultSelected)
  : field.type === "checkbox" ? field.checked !== field.defaultChecked : field.value !== field.defaultValue;
const fields = (form) => [...form.elements].filter((field) => field.name);
const inUse = (form) => !form.hidden && ("pending" in form.dataset || fields(form).some(isDirty));
const key = (node) => node.nodeType === 1 ? node.id || node.dataset?.part || "" : "";
const KEPT = new Set(["hidden", "open"]);  // what the page itself sets

function morph(old, fresh) {
  if (old.nodeType !== fresh.nodeType || old.nodeName !== fresh.nodeName || key(old) !== key(fresh)) {
    old.replaceWith(document.importNode(fresh, true));
    return;
  }
  if (old.nodeType !== 1) {
    if (old.nodeValue !== fresh.nodeValue) old.nodeValue = fresh.nodeValue;
    return;
  }
  if (old.matches("form") && inUse(old)) { if (!("pending" in old.dataset)) noteConflict(old, fresh); return; }
  for (const { name } of [...old.attributes]) if (!fresh.hasAttribute(name) && !KEPT.has(name)) old.removeAttribute(name);
  for (const { name, value } of fresh.attributes) {
    if (!KEPT.has(name) && old.getAttribute(name) !== value) old.setAttribute(name, value);
  }
  const there = [...old.childNodes].filter((node) => !(node.dataset && "own" in node.dataset));
  const keyed = new Map(there.filter(key).map((node) => [key(node), node]));
  const plain = there.filter((node) => !key(node));
  let next = there[0] || null;
  const kept = new Set();
  for (const child of [...fresh.childNodes]) {
    const same = key(child) ? keyed.get(key(child)) : plain.find((node) => !kept.has(node) && node.nodeName === child.nodeName);
    if (!same) { old.insertBefore(document.importNode(child, true), next); continue; }
    kept.add(same);
    while (next && (kept.has(next) && next !== same || "own" in (next.dataset || {}))) next = next.nextSibling;
    if (same === next) next = same.nextSibling; else old.insertBefore(same, next);
    morph(same, child);
  }
  for (const node of there) if (!kept.has(node)) node.remove();
}

function noteConflict(form, fresh) {
  const changed = fields(form).find((field) => fresh.elements[field.name] && isDirty(field)
    && field.defaultValue !== undefined && field.defaultValue !== fresh.elements[field.name].defaultValue);
  if (changed) offer(form, fresh.elements[changed.name].defaultValue, () => Object.assign(form.dataset, fresh.dataset));
}

function offer(form, now, keep) {  // the file on disk has won: both are shown, and nothing is lost
  $(".conflict", form)?.remove();
  const box = document.createElement("div");
  box.className = "conflict";
  box.dataset.own = "";
  box.setAttribute("role", "alert");
  const words = document.createElement("p");
  words.textContent = `The file now says “${now}”.`;
  const buttons = document.createElement("div");
  buttons.className = "row";
  for (const [text, act] of [["Take that", () => { form.reset(); refresh(); }], ["Keep mine", () => { keep(); box.remove(); form.requestSubmit(); }]]) {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "piece", textContent: text });
    button.addEventListener("click", () => { box.remove(); act(); });
    buttons.append(button);
  }
  box.append(words, buttons);
  form.append(box);
}

// A part that is replaced or moved takes the focus away: it goes back, or to what has come in its place.
const isSeen = (node) => node.getClientRects().length > 0;
const reachable = (part) => all("a[href], button, input:not([type=file]), select, textarea, summary", part).filter(isSeen);
function around(node) {
  const parts = [];
  for (let part = node?.closest?.("[data-part]"); part; part = part.parentElement.closest("[data-part]")) parts.push([part, reachable(part).indexOf(node)]);
  return parts;
}
function focusAgain(node, parts) {
  if (!parts.length || document.activeElement === node) return;
  if (node.isConnected && isSeen(node)) { node.focus(); return; }
  for (const [part, at] of parts) {
    const there = part.isConnected ? reachable(part) : [];
    if (there.length) { there[Math.min(at, there.length - 1)].focus(); return; }
  }
  $("nav [aria-current]")?.focus();
}

let asked = 0, shown = 0, acted = 0, wanted = "";  // wanted: the field to type in next, as soon as it is there
const LEFT_ALONE_MS = 10_000;  // after something was done here, what is looked at stays
async function refresh() {
  const mine = ++asked;
  let text;
  try {
    const answer = await fetch(base, { cache: "no-store" });
    if (!answer.ok) return;
    text = await answer.text();
  } catch { return; }
  const next = new DOMParser().parseFromString(text, "text/html");
  const large = $("#picture", next);
  if (large) {  // no empty frame between two pictures
    const ahead = new Image();
    ahead.src = large.getAttribute("src");
    await ahead.decode().catch(() => {});
  }
  if (mine < shown) return;  // a later one was quicker
  shown = mine;
  const before = $("article[data-latest] img")?.getAttribute("src");
  const focused = document.activeElement, parts = around(focused);
  const busy = all("form").some(inUse) || document.activeElement?.matches("input, textarea, select");
  document.title = next.title;
  for (const name of ["look", "began"]) document.documentElement.dataset[name] = next.documentElement.dataset[name];
  const [top, main, foot] = ["body > header", "main", "body > footer"];
  for (const place of [top, main, foot]) morph($(place), $(place, next));
  const latest = $("article[data-latest]");
  if (latest && $("img", latest)?.getAttribute("src") !== before) {
    if (!busy && screenNow() !== "bench" && Date.now() - acted > LEFT_ALONE_MS) current = latest.dataset.part.replace("card ", "");
    else $("#see-it").hidden = false;
  }
  show();
  focusAgain(focused, parts);
  tick();
  const field = wanted && $(wanted);
  if (field) { field.focus(); wanted = ""; }
}

// ------------------------------------------------------------------ what is done

async function send(name, words) {
  acted = Date.now();
  const answer = await fetch(`${base}do/${name}`, {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(words),
  });
  return [answer.status, answer.headers.get("content-type")?.includes("json") ? await answer.json() : { faults: [await answer.text()] }];
}

function explain(form, faults) {
  let place = $(".answer", form);
  if (!place) {
    place = document.createElement("p");
    place.className = "answer";
    place.dataset.own = "";
    place.setAttribute("role", "alert");
    form.append(place);
  }
  place.textContent = faults.join("\n");
}

// While an action is on its way its form stays as it is, and takes no letter meant for the next one.
function hold(form, held) {
  if (!form.matches("form")) return;
  if (held) form.dataset.pending = ""; else delete form.dataset.pending;
  for (const field of fields(form)) if ("readOnly" in field) field.readOnly = held;
}

async function act(form, name, words, next = "") {
  let status, answer;
  hold(form, true);
  try { [status, answer] = await send(name, words); } catch { hold(form, false); explain(form, ["The desk has stopped; start it again, then do this once more."]); return false; }
  if (status !== 200) hold(form, false);
  if (status === 200) {
    wanted = next;
    delete form.dataset.pending;
    $(".answer", form)?.remove();
    $(".conflict", form)?.remove();
    if (form.matches("form")) form.reset();
    if (form.matches(".edit, #add-point, #again")) form.hidden = true;
    await refresh();
    hold(form, false);
    return true;
  }
  if (status === 409 && "now" in answer) offer(form, answer.now, () => { for (const name of ["raw", "line", "was"]) if (name in answer) form.dataset[name] = answer[name]; });
  else explain(form, answer.faults || ["This could not be done."]);
  return false;
}

function wordsOf(form) {
  const words = {};
  for (const [name, value] of Object.entries(form.dataset)) {
    if (name !== "do" && name !== "pending") words[name] = /^-?\d+$/.test(value) && ["line", "by", "choice"].includes(name) ? Number(value) : value;
  }
  for (const field of fields(form)) words[field.name] = field.type === "checkbox" ? field.checked : field.value;
  return words;
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.method === "dialog") return;
  event.preventDefault();
  if ("stamp" in form.dataset) { stamp(); return; }
  if ("build" in form.dataset) { await act(form, "build", { wishes: fields(form).filter((f) => f.checked).map((f) => f.name) }); return; }
  const next = form.matches(".edit") ? nextEmpty(form) : form.id === "reading" ? "#found" : form.dataset.do === "start-clip" ? "#note" : form.dataset.do === "change-file" && form.dataset.file ? "#changing button" : null;
  const focused = [...form.elements].includes(document.activeElement) ? document.activeElement : null;
  if (!await act(form, form.dataset.do, wordsOf(form), typeof next === "string" ? next : "")) return;
  if (next && typeof next !== "string") open(next);
  else if (!next && focused?.isConnected) focused.focus();
  if (form.dataset.do === "end-clip" && $("#clip")) $("h2", $("#bench"))?.scrollIntoView({ block: "nearest" });
  if ($(".no-go") && form.id === "reading") $("#note")?.focus();  // never on a button
});

document.addEventListener("click", (event) => {
  const button = event.target.closest("button, a");
  if (!button) return;
  if (button.dataset.open) open(document.getElementById(button.dataset.open));
  if ("close" in button.dataset) close(button.closest("form"));
  if ("keys" in button.dataset) $("#keys").showModal();
  if (button.dataset.put) { const field = $("#found"); field.value = button.dataset.put; field.focus(); swing(); }
  if (button.dataset.skip) act(button.closest("form"), "step-done", { key: button.dataset.skip });
  if (button.id === "on-to") goTo(button.dataset.segment);
  if (button.dataset.card) { current = button.dataset.card; }
  if ("missing" in button.dataset) setTimeout(() => $("#lacking").scrollIntoView(), 0);
});

function open(form) {
  if (!form) return;
  form.hidden = false;
  ($("[name=words]", form) || $("input", form))?.focus();  // the words are what is changed most
}
function close(form) {
  const opener = $(`[data-open="${form.id}"]`);
  form.reset();
  $(".conflict", form)?.remove();
  if (form.matches(".edit, #add-point, #again")) form.hidden = true;
  opener?.focus();
}
const nextEmpty = (form) => {  // the next stamp without words
  const rows = all(".notes .edit");
  return rows.slice(rows.indexOf(form) + 1).find((row) => !$("[name=words]", row).defaultValue) || null;
};
document.addEventListener("change", (event) => {
  if (!("card" in event.target.dataset)) return;
  const words = $("[name=words]", event.target.form);  // which card a note calls for is written in its words
  const bare = words.value.replace(/\s*\[card [^\]]*\]/g, "");
  words.value = event.target.value ? `${bare} [card ${event.target.value}]`.trim() : bare;
});
document.addEventListener("input", (event) => {
  if ("count" in event.target.dataset) $("[data-letters]", event.target.form).textContent = event.target.value.length;
  if (event.target.id === "found") swing();
  if (event.target.id === "note") noteTime();
});

// ------------------------------------------------------------------ the bench

const began = () => Number(document.documentElement.dataset.began);
const clockText = (seconds) => {
  const s = Math.max(0, Math.floor(seconds)), [h, m] = [Math.floor(s / 3600), Math.floor(s / 60) % 60];
  return `${h ? `${h}:${String(m).padStart(2, "0")}` : m}:${String(s % 60).padStart(2, "0")}`;
};
let noteBegan = 0, noteSegment = "", lock = null;
const segmentNow = () => $("#note-keys")?.dataset.segment || "";

function tick() {
  if (!began()) return;
  const s = (Date.now() - began()) / 1000, scale = Number($("[data-scale]").dataset.scale);
  $("#clock").textContent = clockText(s);
  const x = Math.min(100, 100 * s / scale);
  $("#present")?.setAttribute("x", `${x}%`);
  const stretch = $("#stretch");
  stretch?.setAttribute("width", `${Math.max(0, x - parseFloat(stretch.getAttribute("x")))}%`);
  if (s > scale) refresh();
}
setInterval(tick, 250);

function noteTime() {
  const field = $("#note");
  if (field.value && !noteBegan) { noteBegan = Date.now(); noteSegment = segmentNow(); }
  if (!field.value) noteBegan = 0;
  $("#note-time").textContent = noteBegan ? clockText((noteBegan - began()) / 1000) : "timed at its first letter";
}

// Notes are kept in this window until the desk has written them, in order.
const QUEUE = "notes that are not written yet";
const queue = () => JSON.parse(sessionStorage.getItem(QUEUE) || "[]");
const keep = (notes) => sessionStorage.setItem(QUEUE, JSON.stringify(notes));
let sending = false;
function stamp(segment = "", words = null) {
  const field = $("#note");
  keep([...queue(), { at: noteBegan && words === null ? noteBegan : Date.now(), segment: segment || noteSegment || segmentNow(), words: words ?? field.value }]);
  if (words === null) { field.value = ""; noteBegan = 0; noteSegment = ""; noteTime(); }
  flush();
}
async function flush() {
  if (sending) return;
  sending = true;
  try {
    while (queue().length) {
      const [first] = queue();
      const [status, answer] = await send("stamp", first);
      if (status >= 500) throw new Error();
      keep(queue().slice(1));  // others may have come meanwhile
      if (status === 200) { say(answer.heard); tellQueued([]); continue; }
      tellQueued([...(answer.faults || []), `Not written: “${first.words}”`]);
    }
  } catch { tellQueued([`${queue().length} not written yet: the desk has stopped.`]); }
  sending = false;
  await refresh();
}
function tellQueued(lines) {
  const place = $("#queued");
  if (!place) return;
  place.hidden = !lines.length;
  place.textContent = lines.join("\n");
}
function goTo(segment) {
  if (!segment) return;
  const words = $("#note").value;
  if (words) stamp();
  stamp(segment, "");
  $("#note").focus();
}

function swing() {
  const dial = $(".swing"), pointer = dial && $(".pointer", dial);
  if (!pointer) return;
  const value = parseFloat($("#found").value.replace(",", ".").replace("−", "-"));
  const [low, high] = [Number(dial.dataset.low), Number(dial.dataset.high)];
  pointer.setAttribute("x", Number.isFinite(value) ? `${100 * Math.min(1, Math.max(0, (value - low) / (high - low)))}%` : "-10%");
}

async function stayAwake() {
  if (began() && !lock && navigator.wakeLock && document.visibilityState === "visible") {
    lock = await navigator.wakeLock.request("screen").catch(() => null);
    lock?.addEventListener("release", () => { lock = null; });
  } else if (!began() && lock) lock.release();
}

// ------------------------------------------------------------------ screens and cards

let current = "";
const SCREENS = ["ratings", "bench", "files", "cards"];
function screenNow() {
  const [screen] = location.hash.slice(1).split("/");
  if (SCREENS.includes(screen)) return screen;
  if (began()) return "bench";
  return $(".question") ? "files" : $("#strip li") ? "cards" : editing ? "files" : "cards";
}
function show() {
  const screen = $("#new") ? "" : screenNow();
  const named = location.hash.startsWith("#cards/") ? location.hash.slice(7) : "";
  for (const section of all("[data-screen]")) section.hidden = section.id !== screen;
  for (const link of all("[data-to]")) {
    if (link.dataset.to === screen) link.setAttribute("aria-current", "page"); else link.removeAttribute("aria-current");
  }
  if (named && document.getElementById(`cards/${named}`) && !current) current = named;
  if (!document.getElementById(`cards/${current}`)) current = $("article[data-latest]")?.id.slice(6) || $("article.card")?.id.slice(6) || "";
  for (const card of all("article.card")) card.hidden = card.id !== `cards/${current}`;
  for (const link of all("#strip a")) {
    if (link.dataset.card === current) link.setAttribute("aria-current", "true"); else link.removeAttribute("aria-current");
  }
  if (screen === "cards") $("#strip [aria-current]")?.scrollIntoView({ block: "nearest", inline: "center" });
  stayAwake();
  if (!$("#queued")?.hidden && !queue().length) tellQueued([]);
}
addEventListener("hashchange", () => {
  if (location.hash.startsWith("#cards/")) current = location.hash.slice(7);
  if (location.hash === "#cards" && $("#see-it") && !$("#see-it").hidden) { current = $("article[data-latest]")?.id.slice(6) || current; $("#see-it").hidden = true; }
  show();
  $("#faults")?.isConnected || scrollTo(0, 0);
});
function pick(id) {
  current = id;
  history.replaceState(null, "", `#cards/${id}`);
  show();
  $(`#strip [data-card="${CSS.escape(id)}"]`)?.focus();
}

document.addEventListener("keydown", (event) => {
  const at = event.target, field = at.matches?.("input, textarea, select");
  if ((event.ctrlKey || event.metaKey) && event.key.toLowerCase() === "z" && !event.shiftKey && !field && editing) { event.preventDefault(); send("undo", {}).then(refresh); return; }
  if (event.key === "Escape" && field && at.form) { at.form.reset(); close(at.form); at.blur(); return; }
  if (at.id === "note") {
    if (event.key === "ArrowDown") { event.preventDefault(); goTo($("#on-to")?.dataset.segment); }
    else if (event.key === "ArrowUp") { event.preventDefault(); goTo($("#back-to")?.dataset.segment); }
    else if (event.key === "ArrowRight" && at.selectionStart === at.value.length && $("#found")) { event.preventDefault(); $("#found").focus(); }
    else if (event.key === "Delete" && !at.value) { event.preventDefault(); send("bad-take", {}).then(refresh); }
    return;
  }
  if (at.id === "found" && event.key === "ArrowLeft" && at.selectionStart === 0 && $("#note")) { event.preventDefault(); $("#note").focus(); return; }
  if (at.matches?.(".answers button")) {
    const buttons = all(".answers button", at.closest(".question")), step = { ArrowLeft: -1, ArrowRight: 1 }[event.key];
    if (step) { event.preventDefault(); buttons[(buttons.indexOf(at) + step + buttons.length) % buttons.length].focus(); }
    else if (event.key === "Delete") { event.preventDefault(); $("[data-do=leave-out] button", at.closest(".question")).click(); }
    return;
  }
  if (at.matches?.("#strip a")) {
    const links = all("#strip a"), here = links.indexOf(at), to = { ArrowLeft: here - 1, ArrowRight: here + 1, Home: 0, End: links.length - 1 }[event.key];
    if (event.shiftKey && editing && ["ArrowLeft", "ArrowRight"].includes(event.key)) {
      event.preventDefault();
      act($(".strip-frame"), "move-card", { name: at.dataset.name, by: event.key === "ArrowLeft" ? -1 : 1 });
    } else if (to !== undefined) { event.preventDefault(); if (links[to]) pick(links[to].dataset.card); }
    else if (event.key === "Delete" && editing) { event.preventDefault(); send("hidden" in at.dataset ? "show-card" : "hide-card", { name: at.dataset.name }).then(refresh); }
    else if (event.key === "Enter") { event.preventDefault(); pick(at.dataset.card); $(`#title-${CSS.escape(at.dataset.card)}`)?.focus(); }
  }
});

// A card that is dropped on another of its part of the film comes where that one is.
const CARD = "text/x-card";
if (editing) {
  const target = (event) => event.dataTransfer.types.includes(CARD) && event.target.closest?.("#strip a");
  addEventListener("dragstart", (event) => {
    const card = event.target.closest?.("#strip a");
    if (card) event.dataTransfer.setData(CARD, card.dataset.name);
  });
  addEventListener("dragover", (event) => {
    const over = target(event) || null;
    for (const link of all("#strip a")) link.toggleAttribute("data-over", link === over);
    if (over) event.preventDefault();
  });
  addEventListener("dragend", () => { for (const link of all("[data-over]")) delete link.dataset.over; });
  addEventListener("drop", (event) => {
    const over = target(event), name = event.dataTransfer.getData(CARD);
    if (!over) return;
    event.preventDefault();
    if (name !== over.dataset.name) act($(".strip-frame"), "move-card", { name, to: over.dataset.name });
  });
}

// ------------------------------------------------------------------ files

async function drop(files) {
  for (const file of files) await upload(file, "");
  await refresh();
}
async function upload(file, how) {
  const place = document.createElement("p");
  place.dataset.own = "";
  place.textContent = `${file.name} …`;
  $("#dropped").append(place);
  let answer, status;
  try {
    const reply = await fetch(`${base}drop?name=${encodeURIComponent(file.name)}&how=${how}`, { method: "POST", body: file });
    status = reply.status;
    answer = reply.headers.get("content-type")?.includes("json") ? await reply.json() : { faults: [await reply.text()] };
  } catch { status = 0; answer = { faults: ["the desk has stopped, or the file can’t be read"] }; }
  if (status === 200) {
    if (answer.same) place.textContent = `${file.name} is here already`; else place.remove();
    return;
  }
  place.textContent = `${file.name}: ${(answer.faults || []).join(" ")} `;
  if (status !== 409) return;
  for (const [text, way] of [["Replace it", "replace"], ["Keep both", "both"]]) {
    const button = document.createElement("button");
    Object.assign(button, { type: "button", className: "piece", textContent: text });
    button.addEventListener("click", async () => { place.remove(); await upload(file, way); await refresh(); });
    place.append(button, " ");
  }
}
if (editing) {
  addEventListener("dragover", (event) => { if (event.dataTransfer.types.includes("Files") && !event.dataTransfer.types.includes(CARD)) { event.preventDefault(); document.body.dataset.dragging = ""; } });
  addEventListener("dragleave", (event) => { if (!event.relatedTarget) delete document.body.dataset.dragging; });
  addEventListener("drop", (event) => {
    delete document.body.dataset.dragging;
    if (!event.dataTransfer.files.length || event.dataTransfer.types.includes(CARD)) return;
    event.preventDefault();
    location.hash = "files";
    drop([...event.dataTransfer.files]);
  });
  $("#choose").addEventListener("change", async (event) => { await drop([...event.target.files]); event.target.value = ""; });
}

// ------------------------------------------------------------------ the desk, and when it has stopped

let events = null;
function listen() {
  if (events || document.visibilityState !== "visible") return;
  events = new EventSource(`${base}events`);
  events.addEventListener("open", () => { tellStopped(""); flush(); });
  events.addEventListener("message", refresh);
  events.addEventListener("error", () => {
    tellStopped(began() ? "The desk has stopped. The clock keeps running; notes are kept in this window." : "The desk has stopped. What is below is as it was then.");
    if (events?.readyState === EventSource.CLOSED) { events = null; setTimeout(listen, 2000); }
  });
}
function tellStopped(words) {
  const place = $("#stopped");
  if (place.textContent !== words) place.textContent = words;
  place.hidden = !words;
}
document.addEventListener("visibilitychange", () => {  // a browser opens few streams at once: hidden pages close theirs
  if (document.visibilityState === "visible") { listen(); refresh(); } else { events?.close(); events = null; }
});
show();
tick();
listen();
