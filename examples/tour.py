"""A tour of frontglass in a ferry-terminal café after closing.

Run it cell by cell in an editor that knows `# %%`, or whole: python examples/tour.py [FOLDER]. A
notebook shows the picture or the look that a cell ends with.
"""

# %%
from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

import frontglass as fg

HERE = Path(__file__).parent
FOLDER = Path(sys.argv[1] if len(sys.argv) > 1 else "frontglass-tour")
FOLDER.mkdir(exist_ok=True)

# %% [markdown]
# ## A still
# The café is an OpenEXR file: linear light, lamps up to hundreds of times white. It is dark, so it
# is shown two and a half stops brighter. Cut to a quarter of the frame, the tour takes seconds.

# %%
whole = fg.read_picture(HERE / "cafe_1280.exr", exposure_stops=2.5)
region = fg.Region.from_text("60,180,640,360")
cafe = region.of(whole)
cafe

# %% [markdown]
# ## A look from the catalogue
# The camera turns degrees into pixels: the same glass makes a wider halo on a longer lens.

# %%
camera = fg.Camera(focal_length_mm=50, f_number=2.8, sensor_width_mm=12.4)
look = fg.read_look("harbour-night").at("1/2")
look

# %%
fg.render(cafe, look, camera=camera)

# %% [markdown]
# ## A look of one's own
# Elements are plain values. Light meets the air first, then what is before the lens, then the lens.

# %%
mist = fg.Glow(
    optical_depth=0.08,
    lobes=(
        fg.MoffatLobe(core_deg=0.25, beta=1.6, share=3),
        fg.FlecksLobe(diameter_um=40),
    ),
    depth_exponent=1.0,
)
stocking = fg.Net(
    pitch_mm=0.6,
    thread_mm=0.05,
    weave="knitted",
    unevenness=0.02,
    clear_centre=fg.ClearCentre(radius_mm=9),
)
own = fg.Look(elements=[mist, stocking, fg.Veil(veil_share=0.004)], name="last-ferry")
own

# %%
seen = fg.render(cafe, own, camera=camera)
seen

# %% [markdown]
# It is written as a file that `--look` takes, and reads back as the same value.

# %%
path = FOLDER / "last-ferry.toml"
path.write_text(own.to_toml(), encoding="utf-8")
assert fg.read_look(path) == own
print(own.to_toml())

# %% [markdown]
# ## Arrays
# An array in gives an array out, of the same shape and type: floats are linear light, whole numbers
# are sRGB codes. Here is a lamp of 500 times white in the dark.

# %%
night = np.zeros((180, 320, 3))
night[90, 160] = 500
halo = fg.render(night, mist, camera=camera)
print(halo.dtype, f"{halo[90, 170, 1]:.4f} of white ten pixels from the lamp")

# %%
codes = np.full((180, 320), 90, np.uint8)
codes[80:100, 150:170] = 255
fg.Picture.from_array(fg.render(codes, own, camera=camera))

# %% [markdown]
# ## What a clipped still has lost
# In eight bits a lamp ends at white, and its halo with it. The lost light is estimated, or typed.

# %%
clipped = fg.Picture.from_array(
    np.round(np.clip(cafe.radiance, 0, 1) ** (1 / 2.2) * 255).astype(np.uint8)
)
recovered = fg.with_recovered_light(clipped)
for lamp in recovered.lamps[:3]:
    print(f"at {lamp.x_px:.0f},{lamp.y_px:.0f}: {lamp.stops:.1f} stops above white")
fg.render(recovered.picture, look, camera=camera)

# %% [markdown]
# ## Side by side, and out

# %%
sheet = fg.ladder(cafe, fg.read_look("fine-net"), camera=camera, strengths=["1/4", 1], width_px=900)
fg.write_sheet(FOLDER / "ladder.png", sheet)
for notice in fg.write_picture(FOLDER / "last-ferry.png", seen):
    print("note:", notice)
