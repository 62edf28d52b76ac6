"""The card as SVG text, one unit of the drawing = 1 mm."""

from xml.sax.saxutils import escape

from traymorph.card.layout import CardLayout, Words, marker_boxes


def svg_text(layout: CardLayout) -> str:
    """Draw a card.

    Parameters
    ----------
    layout : CardLayout
        What to draw.

    Returns
    -------
    str
        A whole SVG file; its stated size is the card's size in mm.
    """
    width, height = layout.size
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{width:g}mm" height="{height:g}mm"'
            f' viewBox="0 0 {width:g} {height:g}">'
        ),
        f"<title>Traymorph card {layout.version}: {layout.role}</title>",
        f'<rect width="{width:g}" height="{height:g}" fill="#ffffff"/>',
    ]
    for patch in layout.patches:
        if patch.drawn:
            box = (patch.x, patch.y, patch.width, patch.height)
            lines.append(_box(box, _colour(patch.rgb)))
    lines.append('<g shape-rendering="geometricPrecision">')
    lines += [_box(box, "#000000") for box in marker_boxes(layout)]
    lines.append("</g>")
    ink = _colour(layout.ink)
    for shape in layout.shapes:
        points = " ".join(f"{x:.4f},{y:.4f}" for x, y in shape.corners)
        lines.append(f'<polygon points="{points}" fill="{ink}"/>')
    lines += [_text(words, ink) for words in layout.words]
    lines.append("</svg>")
    return "\n".join(lines) + "\n"


def _colour(rgb: tuple[int, int, int]) -> str:
    return "#{:02x}{:02x}{:02x}".format(*rgb)


def _box(box: tuple[float, float, float, float], colour: str) -> str:
    x, y, width, height = box
    return (
        f'<rect x="{x:.4f}" y="{y:.4f}" width="{width:.4f}" height="{height:.4f}" fill="{colour}"/>'
    )


def _text(words: Words, ink: str) -> str:
    weight = "bold" if words.bold else "normal"
    return (
        f'<text x="{words.x:g}" y="{words.y:g}" font-size="{words.size:g}" font-weight="{weight}"'
        f' font-family="Helvetica, Arial, sans-serif" text-anchor="{words.anchor}" fill="{ink}">'
        f"{escape(words.text)}</text>"
    )
