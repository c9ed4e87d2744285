"""From the text of a TOML file to a checked model, or to findings in shop words.

Words used here
    path      the keys that lead to a value: ("side", "top", 2)
    where     the same in words: "Side pattern, top, point 3"
"""

from __future__ import annotations

import difflib
import re
import tomllib
import types
import typing
from collections.abc import Mapping
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError
from pydantic.fields import FieldInfo

from .errors import Finding
from .fields import DATE_HINT, Fault, Setting, Trouble, nearest, shown
from .tomllines import Path, line_numbers, line_of

__all__ = ["Document", "finding", "parse", "validate"]

Model = TypeVar("Model", bound=BaseModel)

_WORDS = {
    "side": "Side pattern",
    "plan": "Plan pattern",
    "section": "Section pattern",
    "shape": "Section shape",
    "knee": "Knee relief",
    "clear": "Clearance",
    "filler": "Filler neck",
    "sheet": "Stock sheet",
}
_POINT_LISTS = {"top", "bottom", "front", "rear", "half", "outline", "points"}
_TABLE_LISTS = {"seam", "strip", "line", "part", "consumable"}

_QUOTED = re.compile(r"\"(?:\\.|[^\"\\])*\"|'[^']*'")
_CURLY = re.compile(r"[“”„«»‘’‚]")
_FRACTION = re.compile(r"(?<![\d./])(?:\d+(?:\s+|\s*-\s*))?\d+\s*/\s*\d+(?![\d./])|[½¼¾⅛⅜⅝⅞]")
_WITH_UNIT = re.compile(r"(?<![\w.])\d+(?:\.\d+)?\s*(?:mm|cm|inch|in|ft|ga|\")(?![\w])")
_DATE = re.compile(r"(?<!\d)(?:\d{1,2}[./-]\d{1,2}[./-]\d{4}|\d{4}[./-]\d{1,2}[./-]\d{1,2})(?!\d)")
_HEADING = re.compile(r"\[\[?\s*([\w.-]+)\s*\]")

#: Headings that may come several times in a file.
_REPEATED = {
    *("plan", "section", "clear", "outlet", "sheet", "division.seam", "allowances.seam", "bend.strip"),
    *("quote.line", "quote.part", "quote.consumable"),
}


class Document:
    """A TOML file as read: its name in messages, its text, its data, and where everything stands."""

    def __init__(self, file: str, text: str, data: dict[str, Any]) -> None:
        self.file, self.text, self.data = file, text, data
        self._lines: dict[Path, int] | None = None

    def line(self, path: Path) -> int | None:
        """The line of a path; worked out when first asked for."""
        if self._lines is None:
            try:
                self._lines = line_numbers(self.text)
            except RecursionError:
                self._lines = {}
        return line_of(self._lines, path)

    def where(self, path: Path) -> str:
        """A path in shop words: ``Side pattern, line widest, point 4``."""
        words: list[str] = []
        for i, step in enumerate(path):
            before = path[i - 1] if i else ""
            if isinstance(step, str):
                if not (step in ("lines", "marks") and i + 1 < len(path)):
                    words.append(_key_words(step, str(before), first=i == 0))
            elif before in _POINT_LISTS or path[i - 2 : i - 1] == ("lines",):
                words.append(f"point {step + 1}")
            elif i == 1 or before in _TABLE_LISTS:
                words[-1] += " " + self._called(path[: i + 1])
            else:
                words.append(f"entry {step + 1}")
        return ", ".join(words) or self.file

    def _called(self, path: Path) -> str:
        """What an item of a list of tables is called: its name, else its number."""
        item: Any = self.data
        try:
            for step in path:
                item = item[step]
            name = item.get("name")
        except (KeyError, IndexError, TypeError, AttributeError):
            name = None
        named = isinstance(name, str) and name.strip()
        return f"“{shown(name)[1:-1]}”" if named else str(int(path[-1]) + 1)


def _key_words(step: str, before: str, *, first: bool) -> str:
    """One key as the papers call it."""
    if first:
        return _WORDS.get(step, step[:1].upper() + step[1:60])
    kind = {"lines": "line ", "marks": "mark "}.get(before, "")
    return kind + step[:60]


def parse(file: str, text: str) -> Document:
    """The document in a TOML text; `Trouble` with line and column where it is no TOML."""
    try:
        return Document(file, text, tomllib.loads(text))
    except tomllib.TOMLDecodeError as fault:
        raise Trouble(_syntax(file, text, str(fault))) from fault
    except RecursionError as fault:
        says = "brackets lie too deep in one another"
        raise Trouble(Fault(says, "hundreds of levels", "a few", "check the brackets", file=file)) from fault
    except ValueError as fault:  # a number of thousands of digits, a date that does not exist
        raise Trouble(Fault("a value cannot be read", str(fault)[:120], "", "look for it", file=file)) from fault


def _syntax(file: str, text: str, message: str) -> Fault:
    """A syntax error, with the line it stands on and a guess at the slip."""
    place = re.search(r" \(at line (\d+), column (\d+)\)$", message)
    lines = text.splitlines() or [""]
    line = int(place[1]) if place else len(lines)
    plain = re.sub(r" \(at .*\)$", "", message)
    written = lines[line - 1].strip() if line <= len(lines) else ""
    column = f", column {place[2]}" if place else ", at the end"
    found = f"{plain.lower()}{column}: {shown(written)[1:-1]}" if written else f"{plain.lower()}{column}"
    return Fault("the file breaks off here", found, "", _slip(plain, written), file=file, line=line)


def _slip(message: str, written: str) -> str:
    """The likely slip behind a syntax error."""
    _, _, value = written.partition("=")
    heading = _HEADING.match(written)
    if "Cannot overwrite" in message or "Cannot declare" in message or "twice" in message:
        if heading and heading[1] in _REPEATED:
            return several(heading[1])
        return "this name is already given further up; take one of the two away"
    return _unquoted(written) or _other_slip(message, written, value)


def several(name: str) -> str:
    """The hint at single brackets where double ones belong."""
    return f"sections that may come several times stand in double brackets: [[{name}]]"


def _unquoted(written: str) -> str:
    """The hint at a date, fraction, unit or word without its straight quotes, "" if there is none on the line."""
    bare = _QUOTED.sub(" ", written).partition("#")[0]
    if _DATE.search(bare):
        return DATE_HINT
    if fraction := _FRACTION.search(bare):
        return f'fractions stand in straight quotes: "{fraction[0]}"'
    if _CURLY.search(bare):
        text = re.search(r"[“”„«»‘’‚]\s*([\w .,/-]{1,40}?)\s*[“”„«»‘’‚]", bare)
        return f'quotes are straight: "{text[1] if text else "…"}"'
    if size := _WITH_UNIT.search(bare):
        return f'a length with its unit stands in straight quotes: "{size[0].rstrip(chr(34))}"'
    return ""


def _other_slip(message: str, written: str, value: str) -> str:
    """The hint at any other syntax error."""
    if re.match(r"\s*\.\d", value):
        return "write a nought before the point: 0.5"
    if re.match(r"\s*\d+,\d+\s*(#.*)?$", value):
        return "write a point, not a comma: 36.5"
    if "Expected '='" in message:
        return "a line is  name = value;  a remark begins with #"
    if re.match(r"\s*[A-Za-z]", value):
        return "words stand in quotes"
    if "[" in written or "," in written:
        return "look for a bracket or comma that is missing, here or on the line before"
    return "look for a quote, bracket or equals sign that is missing, here or on the line before"


def finding(fault: Fault, document: Document | None, path: Path = ()) -> Finding:
    """A fault as a finding, its place in words and its line looked up."""
    facts = {"found": fault.found, "allowed": fault.allowed, "remedy": fault.remedy}
    if document is None:
        named = not fault.file or fault.says.startswith(fault.file)
        where = f"{fault.says}." if named else f"{fault.file}: {fault.says}."
        return Finding("stop", where, fault.line, file=fault.file, **facts)
    whole = (*path, *fault.at)
    where = f"{document.where(whole)}: {fault.says}."
    line = fault.line if fault.file else document.line(whole)
    return Finding("stop", where, line, file=fault.file or document.file, **facts)


def validate(model: type[Model], document: Document, setting: Setting) -> tuple[Model | None, list[Finding]]:
    """The model of a document, or every mistake in it."""
    try:
        return model.model_validate(document.data, context=setting), []
    except ValidationError as error:
        return None, list(_findings(model, document, error))


def _findings(model: type[BaseModel], document: Document, error: ValidationError) -> list[Finding]:
    """The findings behind pydantic's errors, in the order of the file."""
    errors = error.errors(include_url=False)
    extra = [e for e in errors if e["type"] == "extra_forbidden"]
    taken = {(*e["loc"][:-1], _meant(model, e["loc"])) for e in extra}
    found: list[Finding] = []
    for e in errors:
        path = tuple(e["loc"])
        if e["type"] == "missing" and path in taken:
            continue  # the unknown key beside it is this one, misspelled
        trouble = e.get("ctx", {}).get("error")
        if isinstance(trouble, Trouble):
            found += [finding(fault, document, path) for fault in trouble.faults]
        else:
            found.append(finding(_fault(model, path, e), document, _shown_path(path, e["type"])))
    return sorted(dict.fromkeys(found), key=lambda f: (f.file != document.file, f.file, f.line or 0))


def _shown_path(path: Path, kind: str) -> Path:
    """A missing key is told of the section it should stand in."""
    return path[:-1] if kind == "missing" and len(path) > 1 else path


def _fault(model: type[BaseModel], path: Path, e: Mapping[str, Any]) -> Fault:
    """What one of pydantic's own complaints means in a shop."""
    kind, value = e["type"], e["input"]
    field = _field_at(model, path)
    what = (field.description or "") if field else ""
    example = str(field.examples[0]) if field and field.examples else ""
    name = str(path[-1]) if path else ""
    if kind == "extra_forbidden":
        return _unknown(model, path, value)
    if kind == "missing":
        return _missing(path, what, example)
    ctx = e.get("ctx", {})
    if kind in ("model_type", "model_attributes_type", "dict_type"):
        says = "single values stand where a section belongs" if not isinstance(value, list) else "this is a list"
        hint = f"write it under a heading of its own: [{'.'.join(map(str, path))}]"
        return Fault(says, shown(value), f"[{name}] with its values under it", hint)
    if kind == "list_type":
        tables = isinstance(value, dict)
        hint = several(".".join(str(step) for step in path)) if tables else f"write it as a list: {name} = [...]"
        return Fault("this is not a list", shown(value), f"[[{name}]]" if tables else "a list in brackets", hint)
    if kind in ("too_short", "string_too_short"):
        return Fault(
            "this is empty",
            shown(value),
            what or "at least one",
            f"write {name} = {example}" if example else "",
        )
    if kind in ("too_long", "string_too_long"):
        most = ctx.get("max_length")
        if isinstance(value, str):
            return Fault("this is too long", shown(value), f"up to {most} letters", "shorten it")
        says, found = "there are too many of them", str(ctx.get("actual_length") or "more")
        return Fault(says, found, f"up to {most}", "leave some away")
    if kind.startswith("string"):
        return Fault("this is not text", shown(value), what or "text in quotes", f'put it in quotes: {name} = "…"')
    if kind.startswith("bool"):
        return Fault("this is not yes or no", shown(value), "true or false, without quotes")
    return Fault("this value cannot be used", shown(value), what, e["msg"].lower())


def _missing(path: Path, what: str, example: str) -> Fault:
    """A key or section that must be there."""
    name = str(path[-1])
    if len(path) == 1:
        heading = f"[[{name}]]" if name == "plan" else f"[{name}]"
        return Fault("this section is missing", "nothing", heading, f"add a section {heading}; see a starter job")
    if isinstance(path[-1], int):
        return Fault("an entry is missing", "too few numbers", f"entry {path[-1] + 1} as well", "write all of them")
    hint = f"add {name} = {example}" if example else f"add {name} = ..."
    return Fault(f"{name} is missing", "nothing", what or name, hint)


def _unknown(model: type[BaseModel], path: Path, value: object) -> Fault:
    """A key that is not known, with the nearest that is."""
    name, known = str(path[-1]), _keys(_model_at(model, path[:-1]))
    meant = _meant(model, path)
    homes = _homes(model, name)
    hint = "take it out, or choose one that is known"
    if meant:
        hint = f"did you mean {meant}?"
    elif homes:
        hint = f"it belongs under [{homes[0]}]"
    plain = shown(name)[1:-1]
    if len(path) == 1:
        heading = f"[[{plain}]]" if isinstance(value, list) else f"[{plain}]"
        found = heading if isinstance(value, list | dict) else f"{plain} = {shown(value)}"
        return Fault("there is no section of this name", found, _likely(name, known), hint)
    return Fault(f"{plain} is not known here", f"{plain} = {shown(value)}", ", ".join(known), hint)


def _likely(name: str, known: list[str]) -> str:
    """The few sections that are nearest to a name, the likeliest first; of all the others only how many."""
    near = difflib.get_close_matches(name.lower(), known, n=3, cutoff=0.4) or known[:3]
    headings = [f"[[{key}]]" if key in _REPEATED else f"[{key}]" for key in near]
    return f"{', '.join(headings)} and {len(known) - len(near)} others, all in a starter job"


def _meant(model: type[BaseModel], path: Path) -> str:
    return nearest(str(path[-1]), _keys(_model_at(model, path[:-1])))


def _homes(model: type[BaseModel], name: str) -> list[str]:
    """Sections in which a key of that name is known."""
    homes = []
    for key, field in model.model_fields.items():
        for inner in _models_in(field.annotation):
            if name in _keys(inner):
                homes.append(field.alias or key)
    return homes


def _keys(model: type[BaseModel] | None) -> list[str]:
    """Names as they are written in the file."""
    return [field.alias or key for key, field in model.model_fields.items()] if model else []


def _models_in(annotation: Any) -> list[type[BaseModel]]:
    """The models that an annotation speaks of: itself, the members of a list or of a choice."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        return [annotation]
    if typing.get_origin(annotation) in (list, dict, tuple, typing.Union, types.UnionType, typing.Annotated):
        return [m for part in typing.get_args(annotation) for m in _models_in(part)]
    return []


def _model_at(model: type[BaseModel], path: Path) -> type[BaseModel] | None:
    """The model of the section a path leads to."""
    here: type[BaseModel] | None = model
    for step in path:
        if here is None or isinstance(step, int):
            continue
        field = _named(here, step)
        inner = _models_in(field.annotation) if field else []
        here = inner[0] if inner else None
    return here


def _field_at(model: type[BaseModel], path: Path) -> FieldInfo | None:
    names = [step for step in path if isinstance(step, str)]
    if not names:
        return None
    here = _model_at(model, tuple(names[:-1]))
    return _named(here, names[-1]) if here else None


def _named(model: type[BaseModel], name: str) -> FieldInfo | None:
    return next((f for key, f in model.model_fields.items() if (f.alias or key) == name), None)
