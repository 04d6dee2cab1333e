"""What every page needs of the bench: the shop, the clock, who asks, and what they sent."""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from straightband.shop.folder import Shop
from straightband.shop.record import Form
from straightband.workflows.shop_clock import utc_now

_TOKEN = re.compile(r"[\w-]{16,64}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Desk:
    """The bench as it was started.

    Attributes
    ----------
    shop
        Its folder.
    lan
        Whether telephones may come.
    now
        The clock, UTC, as the record writes it.
    """

    shop: Shop
    lan: bool = False
    now: Callable[[], str] = utc_now


@dataclass(frozen=True, slots=True, kw_only=True)
class Sent:
    """A file that came with a form."""

    name: str
    data: bytes


@dataclass(frozen=True, slots=True, kw_only=True)
class Ask:
    """One request, read.

    Attributes
    ----------
    desk
        The bench.
    numbers
        Numbers in the address.
    query
        What stands after the question mark.
    texts
        What was typed into a form.
    files
        What was chosen in it, several files under one name in their order.
    units
        `mm` or `in`.
    local
        Whether it comes from this very computer.
    error
        The sentence by which the form was refused when it was sent, or nothing.
    """

    desk: Desk
    numbers: Mapping[str, int] = field(default_factory=dict)
    query: Mapping[str, str] = field(default_factory=dict)
    texts: Mapping[str, str] = field(default_factory=dict)
    files: Mapping[str, tuple[Sent, ...]] = field(default_factory=dict)
    units: str = "mm"
    local: bool = True
    error: str = ""

    @property
    def shop(self) -> Shop:
        """The shop's folder."""
        return self.desk.shop

    def file(self, name: str) -> Sent:
        """The one file under a name, empty where none came."""
        return next(iter(self.files.get(name, ())), Sent(name="", data=b""))

    @property
    def form(self) -> Form | None:
        """The form's token with a hash of what was sent, or None where it carried none."""
        token = self.texts.get("token", "")
        return Form(token=token, digest=self._digest()) if _TOKEN.fullmatch(token) else None

    @property
    def job_form(self) -> Form | None:
        """The same for work that is asked for: with something else in it, it is other work."""
        token = self.texts.get("token", "")
        return Form(token=f"{token}:{self._digest()}", digest="") if _TOKEN.fullmatch(token) else None

    def _digest(self) -> str:
        sent = sorted((key, value) for key, value in self.texts.items() if key != "token")
        files = sorted((key, hashlib.sha256(file.data).hexdigest()) for key, several in self.files.items() for file in several)
        return hashlib.sha256(repr((sent, files)).encode()).hexdigest()


def new_token() -> str:
    """A token for a form that is about to be shown."""
    return secrets.token_urlsafe(18)
