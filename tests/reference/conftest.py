"""One seed for every random question, printed with each run; STRIKEMILL_REFERENCE_SEED asks others."""

import os
import zlib

import numpy
import pytest

SEED = int(os.environ.get("STRIKEMILL_REFERENCE_SEED", "20261201"))


def pytest_report_header():
    return f"random questions drawn from STRIKEMILL_REFERENCE_SEED={SEED}"


@pytest.fixture
def random(request):
    """A generator of its own for each test, so that one more question in one test changes no other."""
    print(f"seed {SEED}")
    return numpy.random.default_rng([SEED, zlib.crc32(request.node.name.encode())])
