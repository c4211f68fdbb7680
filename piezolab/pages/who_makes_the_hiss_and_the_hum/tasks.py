"""Tasks and maths of the chapter on hiss and hum."""

from __future__ import annotations

import math

import numpy as np

from piezolab.chain import SignalChain
from piezolab.pages.kit.tasks import MakeTask, NumberTask, PickTask
from piezolab.pages.who_makes_the_hiss_and_the_hum import sentences as say
from piezolab.studies.hum import hum
from piezolab.studies.judging.judgement import judgement


def _ratio() -> float:
    return -hum(SignalChain(stage="direct", hum_c=1e-12, mains_v=230.0, play_v=1.0)).relative_db


def _follower_or_shield() -> int:
    bare = SignalChain(stage="direct")
    gains = [
        hum(bare).relative_db - hum(bare.but(stage="follower")).relative_db,
        hum(bare).relative_db - hum(bare.but(shield_db=20.0)).relative_db,
        hum(bare).relative_db - hum(bare.but(cable_m=0.5)).relative_db,
    ]
    return int(np.argmax(gains))


def _quiet(chain: SignalChain) -> tuple[bool, str]:
    loud = judgement(chain).loudness
    humming, hissing = float(loud.hum_db), float(loud.hiss_db)
    if math.isnan(hissing):
        return False, "Not yet: no signal arrives at all."
    if humming > -70:
        return False, f"Not yet: hum is {say.under(humming)} to the ear. What lets most of it in?"
    if hissing > -90:
        return False, f"Hum is low enough; hiss is only {say.under(hissing)}."
    return True, f"Right: hum {say.under(humming)} to the ear, hiss {say.under(hissing)}."


TASKS = (
    NumberTask(
        "hum-ratio",
        "1 pF couples 230 V mains onto a bare disc of 15 nF that gives 1 V at hard playing. How far is hum under the "
        "playing?",
        "Compare 1 pF times 230 V with 15 nF times 1 V peak, and mind that mains volts are rms: 1 V peak is 0.71 V.",
        unit="dB",
        right=_ratio,
        within=0.02,
        explain="Neither cable nor input comes into it: hum and playing meet the same load.",
    ),
    PickTask(
        "hum-cure",
        "A bare disc hums through the room's wiring. Which of these lowers hum against the playing most?",
        "Start from no stage and try all three; watch the verdict, not the curve's height.",
        options=("A follower right at the disc.", "A shield that is worth 20 dB.", "A shorter cable."),
        right=_follower_or_shield,
        told=(
            "A follower passes hum and playing alike; it only keeps new hum from coming in along the cable.",
            "What couples less, hums less; nothing behind the disc can tell hum from playing.",
            "A shorter cable gives back hum and playing alike.",
        ),
    ),
    MakeTask(
        "hum-quiet",
        "Bring hum to at least 70 dB under hard playing, to the ear, with hiss at least 90 dB under it.",
        "Which way in is the loudest? Start there.",
        judge=_quiet,
    ),
)

MATHS = r"""
<p>Every resistor $R$ makes a noise voltage of density $\sqrt{4kTR}$, the loss of the ceramic a noise current of
density $\sqrt{4kT\,2\pi f C_p \tan\delta}$, a gate current $I_G$ one of $\sqrt{2qI_G}$, and the transistor's
channel in saturation one of $\sqrt{4kT\,\tfrac23 g_m (1 + f_c/f)}$. Each is carried to the input by the same
nodal equations as the sound, and their powers are added.</p> <p>$$v_\mathrm{rms}^2 =
\int_{20\,\mathrm{Hz}}^{20\,\mathrm{kHz}} \sum_k |H_k(f)|^2\, S_k(f)\, A(f)^2\, \mathrm{d}f$$</p> <p>$A(f)$ is
the weighting that follows the ear for quiet sounds. Hum that a stray capacitance $C_x$ couples from mains of
$V_m$ onto a pickup that gives $V_s$ stands to the playing as</p> <p>$$\frac{C_x\,V_m}{C_p\,V_s}$$</p>
<p>whatever stage, cable and input come after it.</p> <p>Sources: H. Nyquist, Phys. Rev. 32 (1928) 110; W.
Schottky, Ann. Phys. 362 (1918) 541; A. van der Ziel, Proc. IRE 50 (1962) 1808; weighting A: IEC 61672-1. The
harmonics of the mains and what a shield brings are assumptions.</p>
"""
