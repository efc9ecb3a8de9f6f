"""
Small and round: pinhole, spot, agglomerate, hole with a bright rim.

A ``change`` is a share of the local reflectance, one number or red, green and blue, or an effect.
"""

from dataclasses import dataclass

from linesim.defects.blobs import Blob, Ring
from linesim.defects.clusters import Cluster
from linesim.defects.effects import Change, effect_of
from linesim.defects.fault import Fault, Layer, one_layer
from linesim.defects.pose import Pose

_HALO_SIZE = 2.4  # over that of the lump


@dataclass(frozen=True, slots=True, kw_only=True)
class Pinhole:
    """A small sharp disc: bright where a bright ground shows through, else dark."""

    diameter_um: float
    change: Change  # of the local reflectance, as a share

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        disc = Blob(width_um=self.diameter_um, height_um=self.diameter_um)
        return one_layer("pinhole", pose, disc, effect_of(self.change))


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """An irregular blot with a sharp rim."""

    width_um: float
    height_um: float
    change: Change
    ragged: float = 0.08
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        blot = Blob(
            width_um=self.width_um, height_um=self.height_um, ragged=self.ragged, form=self.form
        )
        return one_layer("spot", pose, blot, effect_of(self.change))


@dataclass(frozen=True, slots=True, kw_only=True)
class Agglomerate:
    """A lump of several grains, perhaps with a soft halo."""

    size_um: float
    change: Change
    halo_change: float = 0.0
    discs: int = 7
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        lump = Cluster(size_um=self.size_um, discs=self.discs, form=self.form)
        layers: tuple[Layer, ...] = (Layer(shape=lump, effect=effect_of(self.change)),)
        if self.halo_change:
            # as soft as it is wide: it falls from its very middle to twice its mean size
            mean_um = _HALO_SIZE / 2 * self.size_um
            halo = Blob(width_um=mean_um, height_um=mean_um, soft_um=mean_um)
            layers = (Layer(shape=halo, effect=effect_of(self.halo_change)), *layers)
        return Fault(kind="agglomerate", pose=pose, layers=layers, outline=lump)


@dataclass(frozen=True, slots=True, kw_only=True)
class Hole:
    """A dark hole with a bright rim, as where a web is pierced or a bubble has burst."""

    width_um: float
    height_um: float
    rim_um: float
    change: Change
    rim_change: Change
    ragged: float = 0.04
    form: int = 0

    def at(self, pose: Pose) -> Fault:
        """Put it on a target."""
        outer = Blob(
            width_um=self.width_um, height_um=self.height_um, ragged=self.ragged, form=self.form
        )
        ring = Ring(blob=outer, rim_um=self.rim_um)
        layers = (
            Layer(shape=ring, effect=effect_of(self.rim_change)),
            Layer(shape=ring.hole, effect=effect_of(self.change)),
        )
        return Fault(kind="hole", pose=pose, layers=layers, outline=outer)
