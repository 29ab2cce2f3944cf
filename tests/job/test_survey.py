"""The layout of the survey list, as the job file says it."""

import pytest
from pydantic import ValidationError

from layoutplan.job.survey import Survey


@pytest.mark.parametrize(
    ("given", "letters"),
    [("P,N,E,Z,D", "PNEZD"), ("p, e, n, z, d", "PENZD"), ("N,E", "NE"), ("E,N,D", "END")],
)
def test_orders_in_use(given, letters) -> None:
    assert "".join(Survey(columns=given).letters) == letters


@pytest.mark.parametrize("given", ["", "P,N,Z,D", "P,N,E,E", "PNEZD", "P,N,E,X", "P;N;E", "P,N,E,"])
def test_orders_that_cannot_be_meant(given) -> None:
    with pytest.raises(ValidationError, match="no order of columns"):
        Survey(columns=given)
