"""Builds a matrix colour profile from published numbers, for tests.

Layout: ICC.1:2010 (profile version 4), sections 7.2 and 10. Curve: IEC 61966-2-1.
Display P3 primaries: SMPTE RP 431-2 with the white point D65, as Apple's Display P3 has them.
"""

import struct

import numpy as np

P3_PRIMARIES = ((0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
SRGB_PRIMARIES = ((0.640, 0.330), (0.300, 0.600), (0.150, 0.060))  # IEC 61966-2-1
D65 = (0.3127, 0.3290)
_D50_XYZ = np.array([0.9642, 1.0, 0.8249])  # ICC.1:2010, section 7.2.16
_BRADFORD = np.array(  # ICC.1:2010, annex E
    [[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]]
)


def to_xyz(primaries, white=D65):
    """Linear RGB to XYZ, white at Y = 1, shape (3, 3)."""
    columns = np.array([[x / y, 1.0, (1 - x - y) / y] for x, y in primaries]).T
    return columns * np.linalg.solve(columns, _white_xyz(white))


def decoded(codes):
    """sRGB curve: 0-1 codes to linear."""
    codes = np.asarray(codes, dtype=float)
    return np.where(codes <= 0.04045, codes / 12.92, ((codes + 0.055) / 1.055) ** 2.4)


def encoded(linear):
    """sRGB curve: linear to 0-1 codes, clipped."""
    linear = np.clip(linear, 0.0, 1.0)
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * linear ** (1 / 2.4) - 0.055)


def p3_as_srgb(codes):
    """Display P3 codes of 0-255 to sRGB codes of 0-255, not rounded."""
    to_linear_srgb = np.linalg.solve(to_xyz(SRGB_PRIMARIES), to_xyz(P3_PRIMARIES))
    return 255 * encoded(decoded(np.asarray(codes) / 255) @ to_linear_srgb.T)


def matrix_profile(primaries):
    """ICC profile of a display with these primaries, white D65 and the sRGB curve."""
    source = _BRADFORD @ _white_xyz(D65)
    target = _BRADFORD @ _D50_XYZ
    adapt = np.linalg.inv(_BRADFORD) @ np.diag(target / source) @ _BRADFORD
    colorants = (adapt @ to_xyz(primaries)).T
    curve = b"para\0\0\0\0" + struct.pack(">HH", 3, 0)
    curve += b"".join(_fixed(v) for v in (2.4, 1 / 1.055, 0.055 / 1.055, 1 / 12.92, 0.04045))
    text = "Test".encode("utf-16-be")
    name = b"mluc\0\0\0\0" + struct.pack(">II2s2sII", 1, 12, b"en", b"US", len(text), 28) + text
    tags = {b"desc": name, b"cprt": name, b"wtpt": _xyz(_D50_XYZ)}
    for letter, colorant in zip(b"rgb", colorants, strict=True):
        tags[bytes([letter]) + b"XYZ"] = _xyz(colorant)
        tags[bytes([letter]) + b"TRC"] = curve
    table, body = struct.pack(">I", len(tags)), b""
    start = 128 + 4 + 12 * len(tags)
    for signature, data in tags.items():
        table += struct.pack(">4sII", signature, start + len(body), len(data))
        body += data + b"\0" * (-len(data) % 4)
    header = struct.pack(">I4s", start + len(body), b"\0" * 4) + b"\x04\x20\0\0mntrRGB XYZ "
    header += struct.pack(">6H", 2026, 1, 1, 0, 0, 0) + b"acsp" + b"\0" * 28
    header += b"".join(_fixed(value) for value in _D50_XYZ)
    return header.ljust(128, b"\0") + table + body


def _white_xyz(white):
    x, y = white
    return np.array([x / y, 1.0, (1 - x - y) / y])


def _fixed(value):
    return struct.pack(">i", round(value * 65536))


def _xyz(values):
    return b"XYZ \0\0\0\0" + b"".join(_fixed(value) for value in values)
