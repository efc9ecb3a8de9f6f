"""Figures read off images, simulated or captured: ``from linesim import measure``."""

from linesim.study.injection import inject as detection
from linesim.study.measure_against import measure_against as against
from linesim.study.measure_bars import measure_bars as bars
from linesim.study.measure_camera import measure_camera as camera
from linesim.study.measure_edge import measure_edge as edge
from linesim.study.measure_noise import measure_noise as noise
from linesim.study.measure_scene import measure_scene as scene
from linesim.study.measure_uniformity import measure_uniformity as uniformity

__all__ = [
    "against",
    "bars",
    "camera",
    "detection",
    "edge",
    "noise",
    "scene",
    "uniformity",
]
