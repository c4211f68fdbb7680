"""Other transistors that fit: parts drawn anew, one by one through the judgement."""

import numpy as np
import pytest

from piezolab.chain import SignalChain
from piezolab.studies.choosing.other_types import BEST, FITS, other_types
from piezolab.studies.judging.judgement import Judgement
from piezolab.studies.judging.wish import Wish, judged_figures, missed
from piezolab.studies.population import population
from piezolab.studies.shopping import other_types as named

CHAINS = (SignalChain(), SignalChain(stage="gain", play_v=0.05), SignalChain(play_v=0.3, supply="adapter"))


def share(chain: SignalChain, name: str, count: int = 16) -> float:
    """Of parts drawn anew, those that meet every limit."""
    drawn = population(name, count, seed=77)
    parts = [
        chain.but(jfet=name, jfet_idss=float(i), jfet_vds=drawn.vds, jfet_vgsoff=float(v))
        for i, v in zip(drawn.idss, drawn.vgsoff, strict=True)
    ]
    return float(np.mean([not missed(judged_figures(Judgement(part)), Wish()) for part in parts]))


@pytest.mark.parametrize("chain", CHAINS, ids=str)
def test_parts_of_the_types_named_fit_through_the_whole_judgement(chain: SignalChain) -> None:
    found = other_types(chain)
    assert 0 < len(found.fitting) <= BEST and chain.jfet not in [each.name for each in found.fitting]
    for each in (found.fitting[0], found.fitting[-1]):
        assert each.share >= FITS and each.headroom_db >= 0
        assert share(chain, each.name) > 0.85, each.name


def test_a_type_that_clips_is_not_named() -> None:
    """A J201 cuts off at 0.3 V to 1.5 V (the sheet's V_GS(off)): 1 V of playing clips in nearly all parts."""
    assert "J201" not in named(SignalChain()) and share(SignalChain(), "J201") < 0.5
    loud = other_types(SignalChain(play_v=20.0))
    assert not loud.fitting and loud.nearest is not None and loud.nearest.missed == "headroom_db"
    assert named(SignalChain(play_v=20.0)) == ()
    assert other_types(SignalChain(stage="direct")).own is None


def test_the_chains_own_type_is_named_first_where_it_fits() -> None:
    assert named(SignalChain(play_v=0.1))[0] == "J113" and "J113" not in named(SignalChain())
