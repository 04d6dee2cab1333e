"""Reference flats: how each has aged, and how three of them are told apart by readings of their pairs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import ClassVar

from straightband.shop.entries import FlatTest
from straightband.web.desk import Ask
from straightband.web.forms import Field, FormView, form
from straightband.web.frame import Page
from straightband.workflows.flats_rows import FlatShown, flats_doubts, flats_shown, pairs_shown, undetermined_shown
from straightband.workflows.shop_clock import day_shown
from straightband.workflows.shop_flats import (
    MOST_PAIRS,
    FlatState,
    flat_states,
    kept_already,
    note_on_flat,
    pair_choices,
    use_flats,
)
from straightband.workflows.shop_jobs import ask_flats
from straightband.workflows.shop_setup import enter_flat

MOST_SHOWN = 20
FLAT_FIELDS = (
    Field(name="name", label="Name of the flat", needed=True),
    Field(name="map", label="Its map", hint=".npz, .x3p or .csv, as the three-flat test writes it", kind="file", needed=True),
    Field(name="note", label="Note"),
)
NOTE_FIELDS = (Field(name="what", label="What was done to it", hint="like: rim knocked, or: repolished", needed=True),)


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatsPage(Page):
    """Reference flats.

    Attributes
    ----------
    flats
        Each as it holds now, with the form that notes what was done to it, or None where its map can't keep a note.
    tests
        Link and day of each test of flats against each other.
    form
        A new one with its map.
    """

    template: ClassVar[str] = "flats.html"
    tab: ClassVar[str] = "flats"
    flats: tuple[tuple[FlatState, FormView | None], ...]
    tests: tuple[tuple[str, str], ...]
    form: FormView


@dataclass(frozen=True, slots=True, kw_only=True)
class NewFlatTestPage(Page):
    """Pairs of flats are chosen.

    Attributes
    ----------
    form
        A row for each pair, or None while no reading can be of a pair.
    """

    template: ClassVar[str] = "flat_test_new.html"
    tab: ClassVar[str] = "flats"
    form: FormView | None


@dataclass(frozen=True, slots=True, kw_only=True)
class FlatTestPage(Page):
    """Flats by themselves.

    Attributes
    ----------
    when
        The day.
    flats
        Each flat.
    undetermined
        What the pairs leave undetermined.
    pairs
        Each pair, and what the flats leave of it.
    doubts
        Sentences.
    use
        The form that makes them the shop's reference flats, or None where they are.
    """

    template: ClassVar[str] = "flat_test.html"
    tab: ClassVar[str] = "flats"
    when: str
    flats: tuple[FlatShown, ...]
    undetermined: str
    pairs: tuple[tuple[str, str], ...]
    doubts: tuple[str, ...]
    use: FormView | None


def flats_page(ask: Ask) -> FlatsPage:
    """Reference flats and the form for a new one."""
    states = flat_states(ask.shop, today=ask.desk.now())
    with ask.shop.record() as record:
        tests = record.listing(FlatTest, newest_first=True, limit=MOST_SHOWN)
    return FlatsPage(
        title="Reference flats",
        flats=tuple((state, _note_form(ask, state)) for state in states),
        tests=tuple((f"/flats/tests/{each.id}", f"Test of {day_shown(each.at)}: {', '.join(each.found['maps'])}") for each in tests),
        form=form(ask, "/flats", submit="Enter the flat", fields=FLAT_FIELDS, name="flat", quiet=True),
    )


def _note_form(ask: Ask, state: FlatState) -> FormView | None:
    if not state.dated:
        return None
    number = state.flat.root
    return form(ask, f"/flats/{number}/note", submit="Note it", fields=NOTE_FIELDS, name=f"note{number}", quiet=True)


def take_flat(ask: Ask) -> str:
    """Enter a reference flat with its map."""
    sent, texts = ask.file("map"), ask.texts
    enter_flat(
        ask.shop,
        texts.get("name", ""),
        map_name=sent.name,
        data=sent.data,
        note=texts.get("note", ""),
        now=ask.desk.now(),
        form=ask.form,
    )
    return "/flats"


def take_note(ask: Ask) -> str:
    """Note what was done to a flat."""
    note_on_flat(ask.shop, ask.numbers["flat"], texts=ask.texts, now=ask.desk.now(), form=ask.form)
    return "/flats"


def new_flat_test_page(ask: Ask) -> NewFlatTestPage:
    """The form: a row for each pair."""
    choices = pair_choices(ask.shop)
    fields: list[Field] = []
    for row in range(1, MOST_PAIRS + 1):
        more = row > 3
        fields += [
            Field(name=f"reading{row}", label=f"Pair {row}: reading", kind="choice", choices=(("", "none"), *choices), more=more),
            Field(name=f"on{row}", label=f"Pair {row}: it lay on", hint="the other flat's name", more=more),
            Field(name=f"turn{row}", label=f"Pair {row}: the other turned by", hint="like 54deg; left empty: mark to mark", more=more),
        ]
    fields += [
        Field(name="recheck", label="To be measured again after", hint="left empty: 12months", more=True),
        Field(name="order", label="Highest order of the terms", hint="left empty: 6", more=True),
    ]
    view = form(ask, "/flats/tests/new", submit="Tell them apart", fields=tuple(fields)) if choices else None
    return NewFlatTestPage(title="Three flats against each other", form=view)


def take_flat_test(ask: Ask) -> str:
    """Ask for flats by themselves."""
    return f"/work/{ask_flats(ask.shop, ask.texts, now=ask.desk.now(), form=ask.job_form)}"


def flat_test_page(ask: Ask) -> FlatTestPage:
    """What a test found."""
    number = ask.numbers["test"]
    with ask.shop.record() as record:
        entry = record.get(FlatTest, number)
        kept = kept_already(record, entry)
    return FlatTestPage(
        title=f"Flats {', '.join(entry.found['maps'])}",
        when=day_shown(entry.at),
        flats=flats_shown(entry),
        undetermined=undetermined_shown(entry),
        pairs=pairs_shown(entry),
        doubts=flats_doubts(entry),
        use=None if kept else form(ask, f"/flats/tests/{number}/use", submit="Use them as reference flats", name="use"),
    )


def take_use(ask: Ask) -> str:
    """Make the flats of a test the shop's reference flats."""
    use_flats(ask.shop, ask.numbers["test"], now=ask.desk.now(), form=ask.form)
    return "/flats"
