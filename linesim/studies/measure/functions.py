"""Figures read off images, simulated or captured: ``from linesim import measure``."""

from linesim.studies.measure.against.study import measure_against as against
from linesim.studies.measure.bars.study import measure_bars as bars
from linesim.studies.measure.camera.study import measure_camera as camera
from linesim.studies.measure.detection.study import inject as detection
from linesim.studies.measure.edge.study import measure_edge as edge
from linesim.studies.measure.flat.noise import measure_noise as noise
from linesim.studies.measure.flat.uniformity import measure_uniformity as uniformity
from linesim.studies.measure.scene.study import measure_scene as scene

__all__ = ["against", "bars", "camera", "detection", "edge", "noise", "scene", "uniformity"]
