"""What a tray label says to the program: the text in its QR code, written and read here alone."""

import unicodedata

_BEGIN = "traymorph tray "
"""Other codes in a photo (seed packets, shipping labels) begin otherwise and are not looked at."""


def label_text(tray_id: str) -> str:
    """Text that the QR code of a tray holds."""
    return _BEGIN + unicodedata.normalize("NFC", tray_id)


def tray_of_label(text: str) -> str | None:
    """Tray that the text of a QR code names; None where it is not the code of a tray label."""
    if not text.startswith(_BEGIN):
        return None
    # Lists are read in the same normal form, so that one name is one text.
    return unicodedata.normalize("NFC", text.removeprefix(_BEGIN)).strip() or None
