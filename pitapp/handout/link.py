"""What is handed out, packed into the text of a link and read back; whatever is pasted is read with care.

The text is `1.` and then JSON, compressed (RFC 1950, with a dictionary of the words that are in each)
and written in the alphabet for addresses (RFC 4648, base64url, without padding). Its checksum tells
of a link that was cut off or damaged.
"""

from __future__ import annotations

import base64
import binascii
import re
import zlib
from typing import Any

from pydantic import ValidationError

from pitapp.errors import Refused
from pitapp.handout.models import MORE, OF_THE_DATABASE, HandOut
from pitapp.web.forms.form_errors import in_words

MOST_CHARACTERS = 20_000
MOST_BYTES = 100_000
# Never changed for layout 1: what was printed on paper is to be read for good.
WORDS = (
    b'"gear":{"car":"","gear":{"pinion":,"spur":,"internal":,"tyre":,"kv":,"volts":,"rev_limit":,"pitch":"dp:64"'
    b'"setup":{"car":"","entries":[{"group":"Front","name":"Ride height","value":"","unit":"mm"},'
    b'{"group":"Rear","name":"Camber","value":"-1.5","unit":"\xc2\xb0"},'
    b'"timetable":{"day":"2026-0","name":"","time_zone":"Europe/","entries":['
    b'{"kind":"marshal","number":1,"starts_at":"2026-{"kind":"practice","number":{"kind":"final","number":'
    b':00:00Z"},{"kind":"heat","number":2,"starts_at":"2026-0'
    b'"track":{"name":"","surface":"carpet","lap_length_m":,"straights":['
    b'{"length_m":,"entry_kmh":,"exit_kmh":},'
    b'"limits":[{"name":"","unit":"mm","least":,"most":,"exactly":}]'
    b',"timing_fixed":true,"timing_deg":0.0,"timing_tolerance_deg":,"winding":"","least_mass_g":1320.0,'
    b'"most_capacity_mah":,"most_start_v":8.4,"tyre":"","least_ride_height_mm":5.0,"run_length_s":300.0,'
    b'"heats_a_day":{"race_class":{"name":"","rev_limit_rpm":'
)
_OWN: dict[str, Any] = dict.fromkeys(OF_THE_DATABASE, True)
LEFT_OUT: dict[str, Any] = {
    "race_class": {**_OWN, "limits": {"__all__": {"id"}}},
    "track": _OWN,
}
_PACKED = re.compile(r"(?:\A|#)(\d{1,3})\.([A-Za-z0-9_-]*)\Z", re.ASCII)
DAMAGED = "This link is damaged or was cut off. Copy it again, the whole of it."


def packed(content: HandOut) -> str:
    """The text that stands behind the `#` of a link."""
    written = content.model_dump_json(exclude=LEFT_OUT, exclude_none=True)
    packer = zlib.compressobj(9, zdict=WORDS)
    body = packer.compress(written.encode()) + packer.flush()
    return f"1.{_letters(body)}"


def read(text: str) -> HandOut:
    """What a link holds; the text may be the whole link, or what stands behind its `#`.

    Raises:
        Refused: it is no such link, or damaged, or holds what pitapp does not take.
    """
    together = "".join(text.split())
    if not together:
        raise Refused("Paste the link first.")
    if len(together) > MOST_CHARACTERS:
        raise Refused("This is too long for a link.")
    match = _PACKED.search(together)
    if match is None:
        raise Refused("This is no link that was handed out. Copy the whole of it, to its end.")
    if match[1] != "1":
        raise Refused("This link is of a newer pitapp. Bring yours up to date first.")
    try:
        return HandOut.model_validate_json(_unpacked(match[2]))
    except ValidationError as error:
        findings = error.errors(include_url=False)
        raise Refused(f"This link holds what pitapp does not take. {_first(findings)}") from None


def _first(findings: list[Any]) -> str:
    finding = findings[0]
    if finding["type"].startswith("json"):
        return "It cannot be read."
    if finding["type"] == "extra_forbidden":
        return MORE
    place = " ".join(str(part).replace("_", " ") for part in finding["loc"] if part != "race_class")
    sentence = f"{in_words(finding).rstrip('.')}."
    return f"{place.capitalize()}: {sentence}" if place else sentence


def _unpacked(body: str) -> bytes:
    try:
        given = base64.b64decode(body + "=" * (-len(body) % 4), altchars=b"-_", validate=True)
        unpacker = zlib.decompressobj(zdict=WORDS)
        content = unpacker.decompress(given, MOST_BYTES)
    except (binascii.Error, zlib.error):
        raise Refused(DAMAGED) from None
    if unpacker.unconsumed_tail:
        raise Refused("This link holds far too much.")
    if not unpacker.eof or unpacker.unused_data or _letters(given) != body:
        raise Refused(DAMAGED)
    return content


def _letters(content: bytes) -> str:
    return base64.urlsafe_b64encode(content).decode().rstrip("=")
