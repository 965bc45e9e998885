"""Templates of a session's own, which may come from a stranger: what they may load, and how much they may do.

The sandbox of the template library keeps a template from files and modules. What it does not bound is work and memory;
so every step is counted here, every text and list is counted by its length before it is made, and what could make one
thing large out of small ones in a way that cannot be foreseen is not there.
"""

from __future__ import annotations

import math
import re
import time
from collections.abc import Callable, Iterable, Iterator, MutableMapping
from functools import wraps
from pathlib import Path
from typing import Any

import jinja2
from jinja2 import nodes
from jinja2.environment import TemplateModule
from jinja2.exceptions import SecurityError
from jinja2.runtime import markup_join, str_join
from jinja2.sandbox import ImmutableSandboxedEnvironment
from jinja2.utils import pass_context
from jinja2.visitor import NodeTransformer

from reviewkit import inside

MOST_STEPS = 300_000  # turns of loops, calls and includes
MOST_SIGNS = 60_000_000  # in all texts put together
LARGEST_BYTES = 250_000
LONGEST_S = 10.0
_LARGEST_WIDTH = 10_000  # a number that says how wide, how many or how exact something is to be
_OF_ENTRY = 30  # what an entry of a list weighs, in signs
_HEAVY = 100  # levels of one list in another
_TURNS, _JOINED, _HELD = "turns of a loop", "texts put together", "lists written out"
_FILTERS = """
    abs attr batch capitalize center count d default dictsort e escape first float forceescape groupby indent int items
    join last length list lower map max min reject rejectattr replace reverse round safe select selectattr slice sort
    string sum title tojson trim truncate unique upper urlencode wordcount wordwrap xmlattr
""".split()
# what these make, or look through, may be as long as what they are given times an argument
_MULTIPLY = {
    *("batch", "center", "indent", "join", "reject", "rejectattr", "replace", "round", "select", "selectattr"),
    *("slice", "tojson", "wordwrap"),
}
# methods that do: the filters of these names are counted
_GROW = {
    *("center", "expandtabs", "format", "format_map", "join", "ljust", "replace", "rjust", "striptags", "to_bytes"),
    *("translate", "zfill"),
}


class TooMuch(SecurityError):
    """A template does more than any page needs."""


class Refused(SecurityError):
    """A template's file is not to be read. `template`: its name."""

    def __init__(self, message: str, template: str) -> None:
        super().__init__(message)
        self.template = template


class OwnLoader(jinja2.FileSystemLoader):
    """The templates of one session's folder. One that leads outside is refused, and so is what is no file."""

    def __init__(self, own: Path) -> None:
        super().__init__(own)
        self._own = own

    def get_source(self, environment: jinja2.Environment, template: str) -> tuple[str, str, Callable[[], bool]]:
        """A template's text, where it is and whether it is still the same. Raises TemplateNotFound, Refused."""
        place = self._own.joinpath(*jinja2.loaders.split_template_path(template))
        if "\0" not in template and inside.is_there(place):
            flaw = inside.flaw(self._own.parent, str(place.relative_to(self._own.parent)))
            if flaw:
                raise Refused(_FLAWS.get(flaw, f"{flaw}; put a file in its place, or take it away"), template)
            folders = place.relative_to(self._own).parents
            if any((self._own / folder).is_symlink() for folder in folders if folder.name):
                raise Refused("lies in a folder that is a link; put the folder itself in its place", template)
            if place.stat().st_size > LARGEST_BYTES:
                raise Refused(f"is over {LARGEST_BYTES // 1000} kB, which no template needs; shorten it", template)
        return super().get_source(environment, template)


_FLAWS = {
    inside.OUTSIDE: "leads outside the session's folder; copy the file into it",
    inside.ABSENT: "is a link to nothing; put a file in its place, or take it away",
}


class Bounded(ImmutableSandboxedEnvironment):
    """A sandbox whose templates come to an end. `begin` before each text."""

    intercepted_binops = frozenset({"*", "**", "%", "+"})

    def __init__(self, **settings: Any) -> None:
        super().__init__(**settings)
        self.template_class = _Counted
        self.concat = self._put_together  # type: ignore[method-assign]
        del self.globals["lipsum"]
        self.filters = {name: self._bounded(name, self.filters[name]) for name in _FILTERS}
        self.filters |= self._counts()
        self.begin()

    def begin(self) -> None:
        """From here on a new text is made."""
        self._steps, self._signs = 0, 0.0
        self._until = time.monotonic() + LONGEST_S

    def step(self) -> None:
        """Count one step."""
        self._steps += 1
        if self._steps > MOST_STEPS:
            raise TooMuch(f"takes more than {MOST_STEPS:,} turns of loops, calls and includes")
        self.spend(0)

    def spend(self, signs: float) -> None:
        """Count signs that are about to be made."""
        self._signs += signs
        if self._signs > MOST_SIGNS:
            raise TooMuch(f"makes more than {MOST_SIGNS // 1_000_000} million signs")
        if time.monotonic() > self._until:
            raise TooMuch(f"takes longer than {LONGEST_S:g} s")

    # -------------------------------------------------------------- what the library calls

    def call(__self, __context: Any, __obj: Any, *args: Any, **kwargs: Any) -> Any:
        """A call of a template."""
        __self.step()
        __self.spend(__self._weight((getattr(__obj, "__self__", None), *args, *kwargs.values())))
        return super().call(__context, __obj, *args, **kwargs)

    def call_binop(self, context: Any, operator: str, left: Any, right: Any) -> Any:
        """Two values with a sign between them."""
        self.spend(self._cost(operator, left, right))
        return super().call_binop(context, operator, left, right)

    def is_safe_attribute(self, obj: Any, attr: str, value: Any) -> bool:
        """Whether a template may have this of an object."""
        grows = attr in _GROW and isinstance(obj, (str, bytes, int))
        return not grows and super().is_safe_attribute(obj, attr, value)

    def wrap_str_format(self, value: Any) -> None:
        """No text is put into another by its own method."""

    def _load_template(self, name: str, globals: MutableMapping[str, Any] | None) -> jinja2.Template:
        self.step()
        return super()._load_template(name, globals)

    def _generate(
        self, source: nodes.Template, name: str | None, filename: str | None, defer_init: bool = False
    ) -> str:
        _Counting().visit(source)
        source.set_environment(self)
        return super()._generate(source, name, filename, defer_init)

    # -------------------------------------------------------------- what is counted

    def _weight(self, value: Any, depth: int = 0) -> int:
        """About how many signs a value is long, or as much memory as it takes; no further than is left to be made."""
        if isinstance(value, (str, bytes)):
            return len(value)
        if isinstance(value, range):
            return _OF_ENTRY * len(value)
        if isinstance(value, TemplateModule):
            return sum(map(len, value._body_stream))
        if isinstance(value, int):
            return value.bit_length() // 3 + 1
        if not isinstance(value, (list, tuple, dict, set, frozenset)):
            return 1
        if depth > _HEAVY:
            raise TooMuch(f"puts more than {_HEAVY} lists into one another")
        total = 0
        for entry in (part for pair in value.items() for part in pair) if isinstance(value, dict) else value:
            total += _OF_ENTRY + self._weight(entry, depth + 1)
            if total > MOST_SIGNS:
                break
        return total

    def _cost(self, operator: str, left: Any, right: Any) -> float:
        """How many signs the value will be long that two others make."""
        numbers = isinstance(left, int) and isinstance(right, int)
        if operator == "**":
            return max(right, 0) * left.bit_length() if numbers else 0
        if operator == "%" and isinstance(left, (str, bytes)):
            text = left if isinstance(left, str) else left.decode("latin-1")
            widths = math.inf if "*" in text else sum(min(int(width[:9]), 10**9) for width in re.findall(r"\d+", text))
            return len(text) + widths + self._weight(right)
        if operator == "*" and not numbers:
            several, times = (right, left) if isinstance(left, int) else (left, right)
            return self._weight(several) * max(times, 0) if isinstance(times, int) else 0
        if operator == "+" and isinstance(left, (list, tuple)) and isinstance(right, (list, tuple)):
            return 8 * (len(left) + len(right))
        return self._weight(left) + self._weight(right) if operator in "+*" else 0

    def _put_together(self, pieces: Iterable[str]) -> str:
        held = list(pieces)
        self.spend(sum(map(len, held)))
        return "".join(held)

    def _pieces(self, made: Any) -> Iterator[str]:
        """What a template makes, one piece after the other; an excess is told where it came about."""
        for piece in made:
            try:
                self.spend(len(piece))
            except TooMuch as error:
                made.throw(error)
            yield piece

    def _counts(self) -> dict[str, Callable[..., Any]]:
        """What `_Counting` puts into templates, as filters that nobody can call by these names."""

        @pass_context
        def turns(context: Any, entries: Iterable[Any]) -> Iterator[Any]:
            for entry in entries:
                self.step()
                yield entry

        @pass_context
        def joined(context: Any, parts: tuple[Any, ...]) -> str:
            self.spend(self._weight(parts))
            return (markup_join if context.eval_ctx.autoescape else str_join)(parts)

        @pass_context
        def held(context: Any, value: Any) -> Any:
            self.spend(self._weight(value))
            return value

        return {_TURNS: turns, _JOINED: joined, _HELD: held}

    def _bounded(self, name: str, made: Callable[..., Any]) -> Callable[..., Any]:
        """A filter of the library, counted before it is called."""

        @wraps(made)
        def bounded(*args: Any, **kwargs: Any) -> Any:
            first = int(hasattr(made, "jinja_pass_arg"))  # what the library tells the filter itself
            told, value, given = args[:first], args[first], (*args[first + 1 :], *kwargs.values())
            if name in _MULTIPLY and isinstance(value, Iterator):
                value = list(value)
            numbers = [abs(number) for number in given if isinstance(number, int)]
            if name in _MULTIPLY | {"truncate"} and max(numbers, default=0) > _LARGEST_WIDTH:
                raise TooMuch(f"asks the filter {name} for more than {_LARGEST_WIDTH:,}")
            if name == "sum" and (len(given) > 1 or "start" in kwargs):
                raise TooMuch("gives the filter sum a start; it adds up numbers alone")
            times = max((1, *numbers, *(self._weight(text) for text in given)))
            self.spend((1 + self._weight(value)) * (times if name in _MULTIPLY else 1))
            return made(*told, value, *args[first + 1 :], **kwargs)

        return bounded


class _Counted(jinja2.Template):
    """A template whose text is counted while it is made, wherever it is loaded from."""

    @classmethod
    def _from_namespace(
        cls, environment: jinja2.Environment, namespace: MutableMapping[str, Any], globals: MutableMapping[str, Any]
    ) -> jinja2.Template:
        template = super()._from_namespace(environment, namespace, globals)
        made, bounded = template.root_render_func, environment
        assert isinstance(bounded, Bounded)
        template.root_render_func = lambda context: bounded._pieces(made(context))
        return template


class _Counting(NodeTransformer):
    """Puts the counting into a template: at every loop, every ~, every list that is written out, all that is shown."""

    def visit_For(self, node: nodes.For) -> nodes.For:
        self.generic_visit(node)
        node.iter = _through(_TURNS, node.iter)
        return node

    def visit_Output(self, node: nodes.Output) -> nodes.Output:
        self.generic_visit(node)
        node.nodes = [one if isinstance(one, nodes.TemplateData) else _through(_HELD, one) for one in node.nodes]
        return node

    def visit_Concat(self, node: nodes.Concat) -> nodes.Filter:
        self.generic_visit(node)
        return _through(_JOINED, nodes.Tuple(node.nodes, "load", lineno=node.lineno))

    def visit_List(self, node: nodes.List) -> nodes.Filter:
        self.generic_visit(node)
        return _through(_HELD, node)

    visit_Dict = visit_List

    def visit_Tuple(self, node: nodes.Tuple) -> nodes.Expr:
        self.generic_visit(node)
        return _through(_HELD, node) if node.ctx == "load" else node


def _through(name: str, node: Any) -> nodes.Filter:
    return nodes.Filter(node, name, [], [], None, None, lineno=node.lineno)
