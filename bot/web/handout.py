"""The way into the chat on paper: a link as a QR code."""

import io

import segno


def qr_of(link: str) -> str:
    """The QR code as an SVG element without styles. Level M mends 15 % of the signs (ISO 18004)."""
    written = io.BytesIO()
    segno.make(link, error="m").save(
        written, kind="svg", xmldecl=False, svgns=True, scale=6, border=4, dark="#000",
        light="#fff", title="QR code that opens the chat",
    )  # fmt: skip
    return written.getvalue().decode()
