"""One group of three bars, as measured."""

from dataclasses import dataclass

from linesim.metrics.bars.figures import RESOLVED_CYC_PX, BarFigures
from linesim.studies.measure.sharpness_input import Direction


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasuredSet:
    """Three bars and what they show."""

    name: str
    alternates: Direction
    frequency_cyc_px: float
    pitch_um: float | None
    figures: BarFigures | None
    expected_mtf: float | None = None
    expected_contrast: float | None = None

    @property
    def frequency_lp_mm(self) -> float | None:
        """On the target. [lp/mm]."""
        return None if self.pitch_um is None else 1000.0 * self.frequency_cyc_px / self.pitch_um

    @property
    def bar_um(self) -> float | None:
        """Width of a bar on the target. [µm]."""
        return None if self.pitch_um is None else 0.5 * self.pitch_um / self.frequency_cyc_px

    @property
    def resolved(self) -> bool:
        """Whether the figures do not depend on how the bars lie on the pixels."""
        return self.frequency_cyc_px <= RESOLVED_CYC_PX

    @property
    def contrast(self) -> float:
        """Between bars and spaces; 0 where the bars are lost in the noise."""
        return 0.0 if self.figures is None else self.figures.contrast.value

    def as_dict(self) -> dict[str, object]:
        """As JSON has it; what there is not is left out."""
        found: dict[str, object] = {
            "name": self.name,
            "frequency_cyc_px": self.frequency_cyc_px,
            "frequency_lp_mm": self.frequency_lp_mm,
            "bar_um": self.bar_um,
        }
        if self.figures is not None:
            found |= {
                "contrast": self.figures.contrast.value,
                "contrast_sd": self.figures.contrast.sd,
                "mtf": self.figures.mtf.value,
                "mtf_sd": self.figures.mtf.sd,
            }
        found |= {
            "expected_contrast": self.expected_contrast,
            "expected_mtf": self.expected_mtf,
            "depends_on_phase": not self.resolved,
        }
        return {name: value for name, value in found.items() if value is not None}
