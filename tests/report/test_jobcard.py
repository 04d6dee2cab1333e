"""Job cards: a page for each abrasive with every run to tick, the same bytes each time, refused rather than cut short."""

import io

import pytest
from pypdf import PdfReader

from straightband.errors import BadInput
from straightband.report.jobcard import CAUTIONS, CardRun, JobCard, job_cards_pdf

RUN = CardRun(top="A", bottom="B", minutes="2.5 min", mark="12 h", stroke="48 mm")


def card(*, rounds=3, runs=8, name="A"):
    return JobCard(
        shop="Invented shop",
        batch="spring",
        abrasive="20 um",
        facts=(("Time", "110 min"), ("Must come off", "46 um")),
        first_round=1,
        rounds=((RUN,) * runs,) * rounds,
        faces=((name, "-0.3 ± 1.9 um"),),
        stop="Stop when no pit is left.",
        program="straightband",
    )


def words(pdf):
    return [" ".join(page.extract_text().split()) for page in PdfReader(io.BytesIO(pdf)).pages]


def test_each_abrasive_has_its_page_with_every_run():
    """Two cards are two pages, and each round and run is on them."""
    pages = words(job_cards_pdf([card(), card(rounds=1, runs=2)]))
    assert len(pages) == 2
    assert (pages[0].count("2.5"), pages[1].count("2.5")) == (24, 2)
    assert all(f"Round {number}" in pages[0] for number in (1, 2, 3))


def test_the_cautions_are_on_every_card():
    """Keep wet, don't pry, bevel, sleeves and dust stand on each page, and that local rules come first."""
    text = words(job_cards_pdf([card()]))[0].replace("- ", "")
    for caution in CAUTIONS:
        assert caution.split(".")[0].split(",")[0] in text
    assert "never pry" in text
    assert "Local rules" in text


def test_the_same_cards_are_the_same_bytes():
    """Nothing of the clock or the computer is in them."""
    assert job_cards_pdf([card()]) == job_cards_pdf([card()])


def test_many_runs_still_fit_and_too_many_are_refused():
    """A hundred runs fit on a page in smaller type; a thousand are refused with a sentence."""
    assert len(words(job_cards_pdf([card(rounds=12, runs=8)]))) == 1
    with pytest.raises(BadInput, match=r"^the job card has more words than fit on one page in type that can be read; one page is needed; "):
        job_cards_pdf([card(rounds=30, runs=30)])


def test_letters_without_a_glyph_are_refused():
    """A name the typeface can't show is refused, not printed as boxes."""
    with pytest.raises(
        BadInput, match=r"^the job card was to show .* which its typeface lacks; Latin, Greek or Cyrillic letters are needed; "
    ):
        job_cards_pdf([card(name="\U0001f600")])
