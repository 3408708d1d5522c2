"""Samples of every element and every lobe: what holds for all of them is tested with these."""

from __future__ import annotations

from frontglass.elements import (
    ClearCentre,
    ConeLobe,
    Element,
    ExponentialLobe,
    FlecksLobe,
    GaussianLobe,
    Glow,
    Grease,
    Haze,
    Lines,
    Lobe,
    MoffatLobe,
    Net,
    Plate,
    StrayLamp,
    TableLobe,
    Tint,
    Veil,
)

SAMPLE_LOBES: dict[str, Lobe] = {
    "cone": ConeLobe(radius_deg=4.0, share=2.0),
    "exponential": ExponentialLobe(scale_deg=0.5),
    "flecks": FlecksLobe(diameter_um=60.0),
    "gaussian": GaussianLobe(sigma_deg=0.4, channel_scale=(1.2, 1.0, 0.8)),
    "moffat": MoffatLobe(core_deg=0.2, beta=1.6),
    "table": TableLobe(
        angles_deg=(0.1, 0.3, 0.6, 1.5, 4.0),
        densities=(30.0, 9.0, 4.0, 0.5, 0.0),
        red_densities=(30.0, 9.0, 5.0, 0.8, 0.0),
    ),
}
SAMPLES: dict[str, Element] = {
    **{
        f"glow {name}": Glow(optical_depth=0.4, lobes=(lobe,), clear_share=0.9)
        for name, lobe in SAMPLE_LOBES.items()
    },
    "glow of all lobes": Glow(optical_depth=1.0, lobes=tuple(SAMPLE_LOBES.values())),
    "glow in colour": Glow(
        optical_depth=0.2, lobes=(SAMPLE_LOBES["moffat"],), channel_depth=(1.5, 1.0, 0.0)
    ),
    "glow above white": Glow(
        optical_depth=0.3, lobes=(SAMPLE_LOBES["gaussian"],), threshold_stops=0.0
    ),
    "grease": Grease(film_um=0.3, texture_um=60.0, streak_ratio=4.0, grain_share=0.3),
    "grease with a clear centre": Grease(
        film_um=0.5, texture_um=100.0, clear_centre=ClearCentre(radius_mm=8.0)
    ),
    "dabbed grease": Grease(film_um=0.2, texture_um=30.0, grain_share=0.5),
    "haze": Haze(extinction_per_m=0.05),
    "lines": Lines(pitch_mm=1.0, line_mm=0.1, families=3),
    "lines of clear grooves": Lines(pitch_mm=1.0, line_mm=0.1, groove_phase_deg=120.0),
    "net": Net(pitch_mm=0.5, thread_mm=0.04, angle_deg=10.0, unevenness=0.02),
    "knitted net": Net(pitch_mm=0.5, denier=20.0, weave="knitted", unevenness=0.03),
    "pale tulle": Net(pitch_mm=1.0, thread_mm=0.06, weave="tulle", pale_share=0.5),
    "plate": Plate(tilt_deg=(6.0, -4.0), returns=0.05),
    "stray lamp": StrayLamp(right_deg=40.0, illuminance=1.0),
    "tint": Tint(passes=(0.98, 1.0, 0.93)),
    "veil": Veil(veil_share=0.03),
}
