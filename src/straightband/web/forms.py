"""Forms as data: every form of every page is drawn by the same few lines of `parts.html`."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

from straightband.web.desk import Ask, new_token

FILES = ("file", "files")


@dataclass(frozen=True, slots=True, kw_only=True)
class Field:
    """One thing to fill in.

    Attributes
    ----------
    name, label
        As it is sent, and as it is called.
    value
        What stands in it.
    hint
        How it is written.
    kind
        `text`, `choice`, `file`, `files` or `hidden`.
    choices
        Value and words of each choice.
    needed
        Whether it may not be left empty.
    more
        Whether it stands under "more", for what is seldom said.
    """

    name: str
    label: str
    value: str = ""
    hint: str = ""
    kind: str = "text"
    choices: tuple[tuple[str, str], ...] = ()
    needed: bool = False
    more: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class FormView:
    """A form ready to be drawn.

    Attributes
    ----------
    action
        Where it is sent.
    submit
        What stands on its button.
    fields
        What is filled in.
    token
        By which it is known when it comes twice.
    error
        Why it was refused, or nothing.
    name
        What the page calls it, for its script.
    quiet
        Whether its button is not the main one of the page.
    asks
        Whether it only asks for something to be shown, and enters nothing.
    """

    action: str
    submit: str
    fields: tuple[Field, ...] = ()
    token: str
    error: str = ""
    name: str = ""
    quiet: bool = False
    asks: bool = False

    @property
    def has_file(self) -> bool:
        """Whether a file goes with it."""
        return any(field.kind in FILES for field in self.fields)

    @property
    def shown(self) -> tuple[Field, ...]:
        """Fields that stand open."""
        return tuple(field for field in self.fields if not field.more)

    @property
    def seldom(self) -> tuple[Field, ...]:
        """Fields under "more"."""
        return tuple(field for field in self.fields if field.more)

    @property
    def seldom_open(self) -> bool:
        """Whether "more" stands open, since something is in it."""
        return any(field.value for field in self.seldom)


def form(
    ask: Ask,
    action: str,
    *,
    submit: str,
    fields: tuple[Field, ...] = (),
    values: Mapping[str, str] | None = None,
    name: str = "",
    quiet: bool = False,
    asks: bool = False,
) -> FormView:
    """A form with what was typed still in it when it was refused, and with suggestions otherwise.

    A page with several forms says by `form` which of them was sent.
    """
    mine = bool(ask.error) and ask.texts.get("form", name) == name
    given = ask.texts if mine else (values or {})
    filled = tuple(replace(field, value=given.get(field.name, field.value)) if field.kind not in FILES else field for field in fields)
    error = ask.error if mine else ""
    return FormView(action=action, submit=submit, fields=filled, token=new_token(), error=error, name=name, quiet=quiet, asks=asks)
