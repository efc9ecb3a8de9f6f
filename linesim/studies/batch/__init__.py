"""
One engine for many stations in closed form, for studies along ranges and over spaces alike.

``Space(base=..., axes=...)`` or ``along(setup, lead, ranges)`` says what may be chosen; options are
counted through. `figures.figures_of(space, indices, groups)` gives figures of any of them, a row an
option, each as exact as its own budget; `stations.blocks` with `figures.figures_on` the same block
by block, where there are too many to hold. The figures of detection cost a millisecond each that
way. Where all options along ranges are wanted, `smooth.figures_along` takes them from a spline
that is right to 0.0005; for very many options that differ in few blurs, `detected.found_by` reads
d' and the smallest size off tables, right to 0.0005 up to 30 object pixels, to 0.001 on texture.
`judged.judged(figures, demands, possible)` tells the first demand that each option misses.
"""
