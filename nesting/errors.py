"""Every way this package can say no.

    NestingError (Exception)
    ├── BadPart (ValueError)      a part that cannot be nested as given
    ├── BadSheet (ValueError)     a sheet that cannot be used as given
    ├── BadSetting (ValueError)   a gap, margin, time or turn out of range
    └── LayoutFault (RuntimeError)  a layout of ours broke its own rules: our fault, not yours

A part that is sound but finds no room is not an error: it is in ``Layout.unplaced`` with the reason.
"""

from __future__ import annotations

__all__ = ["BadPart", "BadSetting", "BadSheet", "LayoutFault", "NestingError"]


class NestingError(Exception):
    """Base of everything this package raises on purpose."""


class BadPart(NestingError, ValueError):
    """A part that cannot be nested as given; ``.name`` says which, ``.found`` what was wrong."""

    def __init__(self, name: str, found: str, hint: str = "") -> None:
        self.name, self.found, self.hint = name, found, hint
        super().__init__(f"Part {name!r}: {found}." + (f"\nhint: {hint}" if hint else ""))


class BadSheet(NestingError, ValueError):
    """A sheet that cannot be used as given; ``.name`` says which, ``.found`` what was wrong."""

    def __init__(self, name: str, found: str, hint: str = "") -> None:
        self.name, self.found, self.hint = name, found, hint
        super().__init__(f"Sheet {name!r}: {found}." + (f"\nhint: {hint}" if hint else ""))


class BadSetting(NestingError, ValueError):
    """A setting out of range; ``.setting``, ``.value`` and ``.allowed`` carry the facts."""

    def __init__(self, setting: str, value: object, allowed: str) -> None:
        self.setting, self.value, self.allowed = setting, value, allowed
        super().__init__(f"{setting} is {value!r}; allowed: {allowed}.")


class LayoutFault(NestingError, RuntimeError):
    """A finished layout broke one of its own rules.

    Never the user's doing. ``.rule`` names the rule ("overlap", "gap", "edge", "grain", "turn",
    "outline", "count", "cuts", "areas"), ``.names`` the parts, ``.sheet`` the sheet index,
    ``.found`` and ``.wanted`` the two numbers (mm, mm2 or degrees).
    """

    def __init__(
        self,
        rule: str,
        names: tuple[str, ...],
        sheet: int | None,
        found: float,
        wanted: float,
        text: str = "",
    ) -> None:
        self.rule, self.names, self.sheet, self.found, self.wanted = rule, names, sheet, found, wanted
        where = "" if sheet is None else f" on sheet {sheet + 1}"
        who = ", ".join(names)
        super().__init__(
            f"Our own layout is faulty ({rule}){where}: {who}: {found:.3f} found, {wanted:.3f} wanted. {text}".strip()
        )
