"""The compiled loops that take displacements to the stress of each zone. Imported only when first used.

Stress components xx yy zz yz xz xy, engineering shear in strains; q are the four integration points of a tetrahedron.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def point_strain(nodes, tets, moved, slope, strain, begin, end):  # type: ignore[no-untyped-def]
    """Strain (m, 4, 6) at the points of tetrahedra begin..end from displacements `moved` (n, 3)."""
    jac, grad = np.empty((3, 3)), np.empty((3, 3))
    inverse = np.empty((3, 3))
    for e in range(begin, end):
        for q in range(4):
            jac[:] = 0.0
            grad[:] = 0.0
            for a in range(10):
                at = tets[e, a]
                for d in range(3):
                    for i in range(3):
                        jac[d, i] += slope[q, a, d] * nodes[at, i]
                        grad[d, i] += slope[q, a, d] * moved[at, i]
            invert(jac, inverse)
            for i in range(3):
                strain[e, q, i] = inverse[i, 0] * grad[0, i] + inverse[i, 1] * grad[1, i] + inverse[i, 2] * grad[2, i]
            for k in range(3):
                i, j = (k + 1) % 3, (k + 2) % 3
                shear = 0.0
                for d in range(3):
                    shear += inverse[i, d] * grad[d, j] + inverse[j, d] * grad[d, i]
                strain[e, q, 3 + k] = shear


@compiled
def invert(a, out):  # type: ignore[no-untyped-def]
    """The inverse of a 3 x 3 matrix."""
    for i in range(3):
        for j in range(3):
            r, s, t, u = (i + 1) % 3, (i + 2) % 3, (j + 1) % 3, (j + 2) % 3
            out[j, i] = a[r, t] * a[s, u] - a[r, u] * a[s, t]
    whole = a[0, 0] * out[0, 0] + a[0, 1] * out[1, 0] + a[0, 2] * out[2, 0]
    for i in range(3):
        for j in range(3):
            out[i, j] /= whole


@compiled
def traction(normal, stress, out):  # type: ignore[no-untyped-def]
    """The traction (3,) of a stress (6,) on a plane of this normal."""
    x, y, z = normal[0], normal[1], normal[2]
    out[0] = x * stress[0] + y * stress[5] + z * stress[4]
    out[1] = x * stress[5] + y * stress[1] + z * stress[3]
    out[2] = x * stress[4] + y * stress[3] + z * stress[2]


@compiled
def jump(normal, a, out):  # type: ignore[no-untyped-def]
    """The strain (6,) sym(a x n)."""
    x, y, z = normal[0], normal[1], normal[2]
    out[0], out[1], out[2] = a[0] * x, a[1] * y, a[2] * z
    out[3], out[4], out[5] = a[1] * z + a[2] * y, a[0] * z + a[2] * x, a[0] * y + a[1] * x


@compiled
def times(matrix, vector, out):  # type: ignore[no-untyped-def]
    """Matrix (6, 6) times vector (6,)."""
    for i in range(6):
        whole = 0.0
        for j in range(6):
            whole += matrix[i, j] * vector[j]
        out[i] = whole


@compiled
def across(normal, stiffness, out):  # type: ignore[no-untyped-def]
    """n . C . n (3, 3): the traction that a jump of the displacement's slope brings."""
    strain, stress, unit, column = np.empty(6), np.empty(6), np.zeros(3), np.empty(3)
    for i in range(3):
        unit[:] = 0.0
        unit[i] = 1.0
        jump(normal, unit, strain)
        times(stiffness, strain, stress)
        traction(normal, stress, column)
        for j in range(3):
            out[j, i] = column[j]


@compiled
def zone_stress(strain, quarter, normal, which, row, stiffness, free, warm, stress, begin, end):  # type: ignore[no-untyped-def]
    """Stress that each zone of tetrahedra begin..end feels at their points, in part axes.

    Zone k of tetrahedron e has the `stiffness` (j, 6, 6) and `free` expansion (j, 6) of row `row` (m, 3), -1 where it
    is absent, and its stress goes to `stress` (count, 4, 6) at `which` (m, 3). Zones of a quarter lie on each other
    along its `normal`; `warm` (m,) [K] is how much the tetrahedron has warmed.
    """
    soft, stiff, give, pull = np.empty((3, 3)), np.empty((3, 3)), np.empty((3, 3, 3)), np.empty((3, 3))
    drawn, moved, own, bent, found = np.empty(3), np.empty(3), np.empty((3, 6)), np.empty(6), np.empty(6)
    for e in range(begin, end):
        zones = 0
        for k in range(3):
            zones += row[e, k] >= 0
        for q in range(4):
            for k in range(3):
                r = row[e, k]
                if r >= 0:
                    for i in range(6):
                        own[k, i] = strain[e, q, i] - warm[e] * free[r, i]
            if zones > 1:
                # What each zone would pull with under the mean strain, how much it gives, and what all then share
                n = normal[e, q]
                soft[:] = 0.0
                drawn[:] = 0.0
                for k in range(3):
                    r = row[e, k]
                    if r < 0:
                        continue
                    across(n, stiffness[r], stiff)
                    invert(stiff, give[k])
                    times(stiffness[r], own[k], found)
                    traction(n, found, pull[k])
                    share = quarter[e, q, k]
                    for i in range(3):
                        for j in range(3):
                            soft[i, j] += share * give[k, i, j]
                            drawn[i] += share * give[k, i, j] * pull[k, j]
                invert(soft, stiff)
                for k in range(3):
                    if row[e, k] < 0:
                        continue
                    for i in range(3):
                        moved[i] = 0.0
                        for j in range(3):
                            shared = stiff[j, 0] * drawn[0] + stiff[j, 1] * drawn[1] + stiff[j, 2] * drawn[2]
                            moved[i] += give[k, i, j] * (shared - pull[k, j])
                    jump(n, moved, bent)
                    for i in range(6):
                        own[k, i] += bent[i]
            for k in range(3):
                r = row[e, k]
                if r >= 0:
                    times(stiffness[r], own[k], stress[which[e, k], q])


@compiled
def split_by_way(start, inside, tets, ways, weight, together, entry):  # type: ignore[no-untyped-def]
    """Number the entries of a zone's nodes: tetrahedra around a node whose beads run together share one.

    `inside[start[n]:start[n + 1]]` are the tetrahedra around node n, `ways` (m, 2) cosine and sine of twice their
    angle; `entry` (m, 10) is filled. Returns each entry's node.
    """
    nodes = np.empty(10 * len(tets), dtype=np.int64)
    count = 0
    for n in range(len(start) - 1):
        many = start[n + 1] - start[n]
        left = many
        while left > 0:
            # The heaviest one that is left (of equal ones the first: rounding must not choose), and what runs with it
            first = -1
            for at in range(start[n], start[n + 1]):
                e = inside[at]
                for a in range(10):
                    if tets[e, a] == n and entry[e, a] < 0 and (first < 0 or weight[e] > weight[first] * (1 + 1e-9)):
                        first = e
            for at in range(start[n], start[n + 1]):
                e = inside[at]
                if ways[e, 0] * ways[first, 0] + ways[e, 1] * ways[first, 1] < together and e != first:
                    continue
                for a in range(10):
                    if tets[e, a] == n and entry[e, a] < 0:
                        entry[e, a] = count
                        left -= 1
            nodes[count] = n
            count += 1
    return nodes[:count]


@compiled
def to_entries(own, corners, near, shift, entry, sign, size, plain, moved, there):  # type: ignore[no-untyped-def]
    """Add a zone's point stresses `own` (m, 4, 6) to the entries of its nodes, weighted by `size` (m,).

    A corner's value is that of the linear field through the points where the zone comes nearest to the corner, whose
    largest barycentric coordinate there is `near` (m, 4); into `moved` (k, 6) goes the value at a place moved by
    `shift` (m, 4, 4) [barycentric] from there, into `plain` (k, 6) the value itself, which is also kept `there`
    (m, 4, 6). `corners` (4, 4) takes point values to corner values. `sign` (m, 10) is -1 where an entry's axes point
    the other way along the bead: its interlayer shears are then the opposite.
    """
    corner, off = np.empty((4, 6)), np.empty((4, 6))
    for e in range(len(own)):
        for c in range(6):
            for a in range(4):
                corner[a, c] = 0.0
                for q in range(4):
                    corner[a, c] += corners[a, q] * own[e, q, c]
            whole = corner[0, c] + corner[1, c] + corner[2, c] + corner[3, c]
            for a in range(4):
                rest = (1 - near[e, a]) / 3
                value = (near[e, a] - rest) * corner[a, c] + rest * whole
                there[e, a, c] = value
                off[a, c] = value
                for b in range(4):
                    off[a, c] += shift[e, a, b] * corner[b, c]
        for a in range(10):
            i, j, at = EDGES[a, 0], EDGES[a, 1], entry[e, a]
            for c in range(6):
                weight = size[e] * sign[e, a] / 2 if c == 3 or c == 4 else size[e] / 2
                plain[at, c] += weight * (there[e, i, c] + there[e, j, c])
                moved[at, c] += weight * (off[i, c] + off[j, c])


@compiled
def energies(own, there, plain, entry, sign, to_points, soft, volume):  # type: ignore[no-untyped-def]
    """Twice the elastic energy [mJ] by which smoothed (`plain`) and raw stress differ, and that of the raw stress
    `own` (m, 4, 6). `soft` (6, 6) [1/MPa], `volume` (m, 4) [mm^3] of the zone."""
    off, bent, wrong, whole = np.empty(6), np.empty(6), 0.0, 0.0
    for e in range(len(own)):
        for q in range(4):
            for c in range(6):
                off[c] = 0.0
                for a in range(4):
                    turned = sign[e, a] if c == 3 or c == 4 else 1.0
                    off[c] += to_points[q, a] * (turned * plain[entry[e, a], c] - there[e, a, c])
            times(soft, off, bent)
            wrong += volume[e, q] * (off * bent).sum()
            times(soft, own[e, q], bent)
            whole += volume[e, q] * (own[e, q] * bent).sum()
    return wrong, whole


@compiled
def turned_stress(axes, stress, out):  # type: ignore[no-untyped-def]
    """Point stresses (m, 4, 6) turned by each tetrahedron's own matrix (m, 6, 6)."""
    for e in range(len(stress)):
        for q in range(4):
            times(axes[e], stress[e, q], out[e, q])


EDGES = np.array([(0, 0), (1, 1), (2, 2), (3, 3), (0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)])
"""The corners between which a tetrahedron's nodes lie."""
