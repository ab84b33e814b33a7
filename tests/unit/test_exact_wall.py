"""The exact wall where plies are ground away, against the fast one."""

import numpy as np
import pytest

from model import design_from_text, evaluate, read_library

#: The hoop ply, of 22 µm, goes from whole to nothing within one cell near the tip.
GROUND_HOOP = """
format = 1
name = "hoop ground away within a cell"
[shaft]
length = "1067 mm"
mandrel = "slim-5"
mandrel_set = "90 mm"
[finish]
grind = "0.05 mm"
tip_diameter = "8.5 mm"
tip_parallel = "76 mm"
tip_blend = "80 mm"
resin_bleed = 0.01
[[flag]]
name = "second pair"
material = "intermediate-50"
angle = "±45"
start = "0 mm"
end = "1067 mm"
wraps = 1
[[flag]]
name = "outer tip"
material = "standard-125"
angle = "0"
start = "0 mm"
end = "200 mm"
wraps = 5.5
run_out = { tip = "0 mm", butt = "80 mm" }
[[flag]]
name = "torque pair"
material = "very-high-85"
angle = "±45"
start = "0 mm"
end = "1067 mm"
wraps = 3.5
[[flag]]
name = "inner tip"
material = "intermediate-100"
angle = "0"
start = "0 mm"
end = "410 mm"
wraps = 4
run_out = { tip = "0 mm", butt = "80 mm" }
[[flag]]
name = "hoop"
material = "standard-20"
angle = "90"
start = "0 mm"
end = "1067 mm"
wraps = 1
[[flag]]
name = "outer straight"
material = "intermediate-100"
angle = "0"
start = "0 mm"
end = "1067 mm"
wraps = 3.5
"""


@pytest.mark.parametrize("mandrel_set", range(60, 100, 5))
def test_a_thin_ply_that_is_ground_away_leaves_no_gap(mandrel_set):
    library = read_library()
    text = GROUND_HOOP.replace('"90 mm"', f'"{mandrel_set} mm"')
    report = evaluate(design_from_text(text, "ground", library), library)
    assert abs(report.section.worst) < 0.02
    fast = report.metrics["durability"]
    assert report.section.metrics["durability"] == pytest.approx(fast, abs=0.02)
    assert np.isfinite(report.profile.margin).any()
