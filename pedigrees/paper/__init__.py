"""Paper: PDF pages set by typst from plain data, and the QR codes on them. Knows no model."""

import io
import json
from pathlib import Path

import segno
import typst

FORMS = Path(__file__).parent
PAPERS = {"a4": "A4", "letter": "US Letter"}


def qr_svg(address: str) -> str:
    """A QR code (ISO/IEC 18004, error correction M) as SVG text without size, so that the page gives it one."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", xmldecl=False, omitsize=True, border=2)
    return out.getvalue().decode()


def printed(form: str, data: dict, *, paper: str = "a4", forms: Path = FORMS) -> bytes:
    """The PDF of one form of a folder of forms filled with `data`; the same data give the same bytes.

    The data travel as JSON text, so nothing in them is ever read as a command of the typesetter; only its own
    fonts are used, and no time stamp is written. KeyError for a paper that is not in PAPERS.
    """
    assert paper in PAPERS, paper
    given = json.dumps({**data, "paper": "us-letter" if paper == "letter" else "a4"}, sort_keys=True)
    return typst.compile(
        str(forms / f"{form}.typ"), sys_inputs={"data": given}, root=str(forms), ignore_system_fonts=True
    )
