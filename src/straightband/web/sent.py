"""What was typed and chosen in a form, taken out of a request."""

from __future__ import annotations

import re

from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from straightband.web.desk import Sent

MOST_FIELDS = 80
MOST_FILES = 60  # the most photographs of one reading
_CHARSET = re.compile(r"charset\s*=\s*\"?([^\";\s]*)", re.IGNORECASE)


async def sent_with(request: Request) -> tuple[dict[str, str], dict[str, tuple[Sent, ...]]]:
    """What was typed and chosen in a form."""
    named = _CHARSET.search(request.headers.get("content-type", ""))
    if named and named[1].lower() not in ("utf-8", "utf8"):
        raise HTTPException(415, "Forms are taken in UTF-8 only.")  # other codings of the library fail in ways of their own
    texts: dict[str, str] = {}
    files: dict[str, tuple[Sent, ...]] = {}
    async with request.form(max_files=MOST_FILES, max_fields=MOST_FIELDS) as form:
        for key, value in form.multi_items():
            if isinstance(value, UploadFile):
                files[key] = (*files.get(key, ()), Sent(name=value.filename or "", data=await value.read()))
            else:
                # Several boxes ticked under one name come with commas between them.
                texts[key] = f"{texts[key]},{value}" if texts.get(key) else value
    return texts, files
