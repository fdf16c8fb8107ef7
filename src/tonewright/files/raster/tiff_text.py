"""Text in the tags of a TIFF, so that every reader shows it.

TIFF 6.0 allows plain ASCII alone.  Of the programs that find other bytes some read UTF-8 and some
Latin-1, so ImageDescription is spelled in ASCII, and where that is not the whole text an XMP packet
(ISO 16684-1) holds it.
"""

from __future__ import annotations

import re
import unicodedata
from functools import lru_cache

_PAIRS = """
ä:ae ö:oe ü:ue å:aa ø:oe æ:ae œ:oe ß:ss þ:th ð:d đ:d ł:l ı:i
а:a б:b в:v г:g д:d е:e ж:zh з:z и:i й:i к:k л:l м:m н:n о:o п:p р:r с:s т:t у:u ф:f х:kh ц:ts ч:ch
ш:sh щ:shch ъ:ie ы:y ь: э:e ю:iu я:ia є:ie ґ:g і:i
α:a β:v γ:g δ:d ε:e ζ:z η:i θ:th ι:i κ:k λ:l μ:m ν:n ξ:x ο:o π:p ρ:r σ:s ς:s τ:t υ:y φ:f χ:ch ψ:ps
ω:o
–:- —:- ‘:' ’:' “:" ”:" „:" ·:. ×:x ⁄:/
"""
_SPELLED = dict(pair.split(":") for pair in _PAIRS.split())
"""Latin and Cyrillic as ICAO Doc 9303-3 spells names, Greek as ISO 843."""


def ascii_text(text: str) -> str:
    """The text in ASCII: letters of other alphabets are spelled, what cannot be becomes ``?``;
    control characters are left out."""
    return "".join(map(_spelled, unicodedata.normalize("NFC", text)))


@lru_cache(maxsize=1024)
def _spelled(sign: str) -> str:
    if not sign.isprintable():
        return ""
    if sign.isascii():
        return sign
    plain = _SPELLED.get(sign.lower())
    if plain is not None:
        return plain if sign == sign.lower() else plain.capitalize()
    parts = unicodedata.normalize("NFKD", sign)
    base = "".join(p for p in parts if not unicodedata.combining(p))
    return ascii_text(base) if base and base != sign else "?"


def xmp_packet(text: str) -> bytes:
    """An XMP packet whose dc:description is the text; empty where ASCII is the whole of it."""
    shown = "".join(sign for sign in text if sign.isprintable())
    if shown.isascii():
        return b""
    shown = shown.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
    return (
        '<?xpacket begin="\ufeff" id="W5M0MpCehiHzreSzNTczkc9d"?>'
        '<rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#">'
        '<rdf:Description rdf:about="" xmlns:dc="http://purl.org/dc/elements/1.1/">'
        f'<dc:description><rdf:Alt><rdf:li xml:lang="x-default">{shown}</rdf:li></rdf:Alt>'
        '</dc:description></rdf:Description></rdf:RDF><?xpacket end="r"?>'
    ).encode()


_OURS = re.compile('<dc:description><rdf:Alt><rdf:li xml:lang="x-default">([^<]*)</rdf:li>')


def whole_text(words: bytes, packet: bytes) -> str:
    """The text of an ImageDescription: as the XMP packet beside it, written by `xmp_packet`, spells
    it, if that is the same text."""
    plain = words.decode("utf-8", "replace")
    found = _OURS.search(packet.decode("utf-8", "replace"))
    if found is None:
        return plain
    whole = found[1].replace("&lt;", "<").replace("&gt;", ">").replace("&amp;", "&")
    return whole if ascii_text(whole) == plain.rstrip("\0") else plain
