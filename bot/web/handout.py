"""The way into the chat on paper: a link as a QR code."""

import io

import segno


def qr_of(link: str, name: str) -> str:
    """The QR code as an SVG element without styles, called `name` for who does not see it.

    It has a `viewBox` and no size of its own, so that the page's size scales it and cuts nothing
    off. Level M mends 15 % of the signs (ISO 18004).
    """
    written = io.BytesIO()
    segno.make(link, error="m").save(
        written, kind="svg", xmldecl=False, svgns=True, scale=6, border=4, dark="#000",
        light="#fff", title=name, omitsize=True,
    )  # fmt: skip
    return written.getvalue().decode()
