"""Coats of paint on a device: the formulas of `linesim.defects.effects`, pixel by pixel."""

from collections.abc import Sequence
from typing import TYPE_CHECKING

from linesim.dataset.feed.coats import Coat

if TYPE_CHECKING:
    import torch


def painted(
    under: "torch.Tensor", coats: Sequence[Coat], covers: "Sequence[torch.Tensor]"
) -> "torch.Tensor":
    """
    Paint a product.

    Parameters
    ----------
    under : tensor of shape (rows, columns); linear reflectance; it stays as it is
    coats : sequence of Coat; in the order in which they are laid on
    covers : sequence of tensor; share of each pixel of their windows

    Returns
    -------
    tensor of the same shape; ρ + share · (new - ρ), coat after coat
    """
    import torch  # noqa: PLC0415 -- an extra

    image = under.contiguous().clone()
    for coat in coats:
        here = image[slice(*coat.rows), slice(*coat.columns)]
        if coat.material is not None:
            new = torch.from_numpy(coat.material).to(here.device, non_blocking=True)
        else:
            new = _changed(here, under, coat)
        here.add_(new.sub_(here).mul_(covers[coat.cover]))
    return image


def _changed(here: "torch.Tensor", under: "torch.Tensor", coat: Coat) -> "torch.Tensor":
    """Change what lies there by a ratio; nothing goes below 0, or above white if it was not."""
    import torch  # noqa: PLC0415 -- an extra

    if coat.sigma_px:
        mean = _mean(under, coat)
        new = (here - mean).mul_(coat.ratio).add_(mean)
    else:
        new = here * coat.ratio
        if 0 <= coat.ratio <= 1:  # which keeps it between
            return new
    return torch.minimum(new.clamp_(min=0), here.clamp(min=1))


def _mean(under: "torch.Tensor", coat: Coat) -> "torch.Tensor":
    """Average the product under a bell; beyond its border the border goes on."""
    import torch  # noqa: PLC0415 -- an extra

    reach, device = coat.reach_px, under.device
    away = torch.arange(-reach, reach + 1, dtype=torch.float64, device=device) / coat.sigma_px
    bell = (away.square() / -2).exp_()
    bell /= bell.sum()
    index, weights = [], []
    for (first, last), size in zip((coat.rows, coat.columns), under.shape, strict=True):
        seen = torch.arange(first - reach, last + reach, device=device)
        ahead = torch.arange(len(seen), device=device) - torch.arange(
            last - first, device=device
        ).unsqueeze(1)
        inside = (ahead >= 0) & (ahead <= 2 * reach)
        index.append(seen.clamp_(0, size - 1))
        weights.append(torch.where(inside, bell[ahead.clamp_(0, 2 * reach)], 0.0))
    around = under[index[0]][:, index[1]].double()
    return (weights[0] @ around @ weights[1].T).float()
