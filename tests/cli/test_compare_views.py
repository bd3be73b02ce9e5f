"""``lutbench compare --as-views``: the figures of `views_apart`, and what is refused."""

from __future__ import annotations

import json

import pytest

from lutbench.cli.main import main

SDR = "ACEScct, ACEScg to BT.1886, BT.709; tone=shoulder grey_out=0.1266 contrast=1.3"
HDR = "ACEScct, ACEScg to BT.2100 PQ, BT.2020; tone=shoulder"


def run(*arguments: str) -> int:
    with pytest.raises(SystemExit) as ended:
        main(["compare", *arguments])
    return int(ended.value.code or 0)


def test_it_says_what_the_views_show(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SDR, HDR, "--as-views", "--json") == 0
    found = json.loads(capsys.readouterr().out)
    grey = next(each for each in found["patches"] if each["name"] == "mid grey (18 %)")
    # Report ITU-R BT.2408, table 1: mid grey of PQ at 26 cd/m² (38 %), rounded.
    assert grey["luminance"] == pytest.approx([26, 26], rel=0.015)
    assert grey["delta_e_itp"] < 0.5
    assert len(found["patches"]) == 25
    assert run(SDR, HDR, "--as-views") == 0
    assert "mid grey (18 %)" in capsys.readouterr().out


def test_what_checks_nothing_is_refused(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SDR, HDR, "--as-views", "--limit-delta-e", "1") == 2
    assert "--limit-delta-e has no place" in capsys.readouterr().err
    assert run(SDR, "ACEScct, ACEScg to ACEScct, ACEScg", "--as-views") == 2
    assert "is not watched as it is" in capsys.readouterr().err
