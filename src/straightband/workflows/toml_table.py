"""The table in a TOML file that a person wrote."""

from __future__ import annotations

import tomllib
from typing import Any

from straightband.errors import BadInput

LARGEST_BYTES = 100_000  # a real one has a thousand


def table_from_toml(data: bytes, *, shown: str, needed: str, refusal: type[BadInput] = BadInput) -> dict[str, Any]:
    """The table that the bytes hold; raises `refusal` in words of the file `shown`, with what it `needed`, where they hold none."""
    if len(data) > LARGEST_BYTES:
        raise refusal(
            found=f"{shown} has {len(data)} bytes", needed=f"at most {LARGEST_BYTES} are needed", remedy="check that it is the right file"
        )
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError:
        reason = "it is not plain text in UTF-8"
    except ValueError as fault:  # TOML's own, and whole numbers of thousands of digits
        reason = str(fault)
    except RecursionError:
        reason = "it nests too deep"
    raise refusal(found=f"{shown} is not TOML ({reason})", needed=needed, remedy="correct it and call again")
