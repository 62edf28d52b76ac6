"""The sRGB curve against IEC 61966-2-1."""

import numpy as np
import pytest

from traymorph.card.transfer import LINEAR_OF_CODE, decode_srgb, encode_srgb

# IEC 61966-2-1:1999, equations for the transfer of 8-bit codes, evaluated to 12 digits; codes 10
# and 11 lie on either side of the knee.
CODES = {
    0: 0.0,
    1: 0.000303526983549,
    10: 0.003035269835488,
    11: 0.003346535763899,
    55: 0.038204371595347,
    128: 0.215860500113899,
    188: 0.502886458032569,
    255: 1.0,
}
# The same standard the other way; 0.18 -> 0.461356129500442 is the value printed in the tests of
# the colour-science library (0.4.7).
ENCODED = {
    0.001: 0.01292,
    0.01: 0.0998528227,
    0.05: 0.2478005280,
    0.18: 0.461356129500442,
    0.2: 0.4845292045,
    0.5: 0.7353569831,
    0.9: 0.9546871719,
    1.0: 1.0,
}


@pytest.mark.parametrize(("code", "linear"), CODES.items())
def test_decode(code, linear):
    assert decode_srgb(code / 255) == pytest.approx(linear, abs=1e-12)
    assert LINEAR_OF_CODE[code] == pytest.approx(linear, rel=1e-6)


@pytest.mark.parametrize(("linear", "encoded"), ENCODED.items())
def test_encode(linear, encoded):
    assert encode_srgb(linear) == pytest.approx(encoded, abs=1e-9)


def test_there_and_back():
    codes = np.arange(256) / 255
    assert encode_srgb(decode_srgb(codes)) == pytest.approx(codes, abs=1e-6)
