"""The compiled loop that judges samples on stored stresses. Imported only when first used.

numba keeps it by this file: whoever changes criteria/kernels.py also touches it.
"""

import numba
import numpy as np

from fem.criteria.kernels import fails, reserves

compiled = numba.njit(cache=True, nogil=True, error_model="numpy")


@compiled
def judge_samples(kind, row, stress, change, stays, loads, softer, strengths, below, falls, out, first, last):  # type: ignore[no-untyped-def]
    """The reserve factors `out` (s, j) of samples first to last at the places of a family of beads, of this kind and
    these limits: infinite where they are not `below` (s,), or, where that `falls`, below what the sample has already.

    Stress is the sum of the parts (k, j, 6) of the load times `loads` (s, k), with `softer` (s,) times its `change`,
    over the factors on `strengths` (s, 6); parts that `stays` (k,) marks do not grow.
    """
    p, v, there, each = np.empty(6), np.empty(6), np.empty(6), np.empty(4)
    for s in range(first, last):
        bound = below[s]
        for j in range(out.shape[1]):
            p[:] = 0.0
            v[:] = 0.0
            for k in range(len(stays)):
                part = p if stays[k] else v
                for c in range(6):
                    part[c] += loads[s, k] * (stress[k, j, c] + softer[s] * change[k, j, c])
            for c in range(6):
                p[c] /= strengths[s, c]
                v[c] /= strengths[s, c]
                there[c] = p[c] + bound * v[c] if bound < np.inf else 0.0
            out[s, j] = np.inf
            if bound == np.inf or fails(kind, row, p) or fails(kind, row, there):
                out[s, j] = reserves(kind, row, p, v, each)[0]
                if np.isnan(p.sum() + v.sum()):
                    out[s, j] = np.nan
            if falls and out[s, j] < bound:
                bound = out[s, j]
