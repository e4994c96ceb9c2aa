"""The compiled loops that take displacements to the stress of each zone. Imported only when first used.

Stress components xx yy zz yz xz xy, engineering shear in strains; q are the four integration points of a tetrahedron.
"""

import numba
import numpy as np

compiled = numba.njit(cache=True, nogil=True)


@compiled
def inverse_at(nodes, tet, slope, jac, inverse):  # type: ignore[no-untyped-def]
    """The inverse (3, 3) of a tetrahedron's Jacobian where its shape functions have these slopes (10, 3)."""
    jac[:] = 0.0
    for a in range(10):
        for d in range(3):
            for i in range(3):
                jac[d, i] += slope[a, d] * nodes[tet[a], i]
    invert(jac, inverse)


@compiled
def strain_at(moved, tet, slope, inverse, grad):  # type: ignore[no-untyped-def]
    """The strain, six numbers, there under displacements `moved` (n, 3)."""
    grad[:] = 0.0
    for a in range(10):
        at = tet[a]
        for d in range(3):
            for i in range(3):
                grad[d, i] += slope[a, d] * moved[at, i]
    yz = row_column(inverse, 1, grad, 2) + row_column(inverse, 2, grad, 1)
    xz = row_column(inverse, 2, grad, 0) + row_column(inverse, 0, grad, 2)
    xy = row_column(inverse, 0, grad, 1) + row_column(inverse, 1, grad, 0)
    long = row_column(inverse, 0, grad, 0), row_column(inverse, 1, grad, 1), row_column(inverse, 2, grad, 2)
    return long[0], long[1], long[2], yz, xz, xy


@compiled
def row_column(a, i, b, j):  # type: ignore[no-untyped-def]
    """Row i of a times column j of b, both (3, 3)."""
    return a[i, 0] * b[0, j] + a[i, 1] * b[1, j] + a[i, 2] * b[2, j]


@compiled
def point_strain(nodes, tets, moved, slope, strain, begin, end):  # type: ignore[no-untyped-def]
    """Strain (m, 4, 6) at the points of tetrahedra begin..end from displacements `moved` (n, 3)."""
    jac, grad, inverse = np.empty((3, 3)), np.empty((3, 3)), np.empty((3, 3))
    for e in range(begin, end):
        for q in range(4):
            inverse_at(nodes, tets[e], slope[q], jac, inverse)
            put(strain_at(moved, tets[e], slope[q], inverse, grad), strain[e, q])


@compiled
def put(six, out):  # type: ignore[no-untyped-def]
    """Six numbers into an array (6,)."""
    out[0], out[1], out[2], out[3], out[4], out[5] = six


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
def traction(normal, stress):  # type: ignore[no-untyped-def]
    """The traction, three numbers, of a stress of six on a plane of this normal (3,)."""
    x, y, z = normal[0], normal[1], normal[2]
    return (
        x * stress[0] + y * stress[5] + z * stress[4],
        x * stress[5] + y * stress[1] + z * stress[3],
        x * stress[4] + y * stress[3] + z * stress[2],
    )


@compiled
def jump(normal, a, b, c):  # type: ignore[no-untyped-def]
    """The strain, six numbers, sym((a, b, c) x n)."""
    x, y, z = normal[0], normal[1], normal[2]
    return a * x, b * y, c * z, b * z + c * y, a * z + c * x, a * y + b * x


@compiled
def times(matrix, v):  # type: ignore[no-untyped-def]
    """Matrix (6, 6) times six numbers."""
    return (
        along(matrix, 0, v),
        along(matrix, 1, v),
        along(matrix, 2, v),
        along(matrix, 3, v),
        along(matrix, 4, v),
        along(matrix, 5, v),
    )


@compiled
def along(m, i, v):  # type: ignore[no-untyped-def]
    """Row i of a matrix (6, 6) times six numbers."""
    return m[i, 0] * v[0] + m[i, 1] * v[1] + m[i, 2] * v[2] + m[i, 3] * v[3] + m[i, 4] * v[4] + m[i, 5] * v[5]


@compiled
def across(normal, stiffness, out):  # type: ignore[no-untyped-def]
    """n . C . n (3, 3): the traction that a jump of the displacement's slope brings."""
    out[:, 0] = traction(normal, times(stiffness, jump(normal, 1.0, 0.0, 0.0)))
    out[:, 1] = traction(normal, times(stiffness, jump(normal, 0.0, 1.0, 0.0)))
    out[:, 2] = traction(normal, times(stiffness, jump(normal, 0.0, 0.0, 1.0)))


@compiled
def zone_stress(nodes, tets, moved, slope, quarter, normal, which, row, stiffness, free, warm, stress, begin, end):  # type: ignore[no-untyped-def]
    """Stress that each zone of tetrahedra begin..end feels at their points, in part axes, under k loads side by side:
    displacements `moved` (k, n, 3), of the tetrahedra's warming `warm` (k, m) [K].

    Zone z of tetrahedron e has the `stiffness` (j, 6, 6) and `free` expansion (j, 6) of row `row` (m, 3), -1 where it
    is absent, and its stress goes to `stress` (count, k, 4, 6) at `which` (m, 3). Zones of a quarter lie on each
    other along its `normal`.
    """
    jac, grad, inverse = np.empty((3, 3)), np.empty((3, 3)), np.empty((3, 3))
    soft, stiff, give = np.empty((3, 3)), np.empty((3, 3)), np.empty((3, 3, 3))
    for e in range(begin, end):
        zones = 0
        for z in range(3):
            zones += row[e, z] >= 0
        for q in range(4):
            inverse_at(nodes, tets[e], slope[q], jac, inverse)
            if zones > 1:
                # How much each zone gives across the stack, and how stiff all are together
                soft[:] = 0.0
                for z in range(3):
                    if row[e, z] >= 0:
                        across(normal[e, q], stiffness[row[e, z]], stiff)
                        invert(stiff, give[z])
                        for i in range(3):
                            for j in range(3):
                                soft[i, j] += quarter[e, q, z] * give[z, i, j]
                invert(soft, stiff)
            for load in range(len(moved)):
                strain = strain_at(moved[load], tets[e], slope[q], inverse, grad)
                for z in range(3):
                    if row[e, z] >= 0:
                        own = without(strain, warm[load, e], free[row[e, z]])
                        put(times(stiffness[row[e, z]], own), stress[which[e, z], load, q])
                if zones > 1:
                    stack(normal[e, q], row[e], quarter[e, q], stiffness, give, stiff, which[e], load, q, stress)


@compiled
def without(strain, warm, free):  # type: ignore[no-untyped-def]
    """Six strains without a free expansion (6,) [1/K] that comes with a warming."""
    return (
        strain[0] - warm * free[0],
        strain[1] - warm * free[1],
        strain[2] - warm * free[2],
        strain[3] - warm * free[3],
        strain[4] - warm * free[4],
        strain[5] - warm * free[5],
    )


@compiled
def stack(normal, row, share, stiffness, give, stiff, which, load, q, stress):  # type: ignore[no-untyped-def]
    """Let a stack's zones, whose `stress` is that under the mean strain, share the traction across it: each gives
    (3, 3, 3) as it does, and all together are as `stiff` (3, 3) as they are."""
    a, b, c = 0.0, 0.0, 0.0
    for z in range(3):
        if row[z] >= 0:
            u, v, w = traction(normal, stress[which[z], load, q])
            a += share[z] * (give[z, 0, 0] * u + give[z, 0, 1] * v + give[z, 0, 2] * w)
            b += share[z] * (give[z, 1, 0] * u + give[z, 1, 1] * v + give[z, 1, 2] * w)
            c += share[z] * (give[z, 2, 0] * u + give[z, 2, 1] * v + give[z, 2, 2] * w)
    x = stiff[0, 0] * a + stiff[0, 1] * b + stiff[0, 2] * c
    y = stiff[1, 0] * a + stiff[1, 1] * b + stiff[1, 2] * c
    z = stiff[2, 0] * a + stiff[2, 1] * b + stiff[2, 2] * c
    for k in range(3):
        if row[k] < 0:
            continue
        found = stress[which[k], load, q]
        u, v, w = traction(normal, found)
        u, v, w = x - u, y - v, z - w
        bent = times(
            stiffness[row[k]],
            jump(
                normal,
                give[k, 0, 0] * u + give[k, 0, 1] * v + give[k, 0, 2] * w,
                give[k, 1, 0] * u + give[k, 1, 1] * v + give[k, 1, 2] * w,
                give[k, 2, 0] * u + give[k, 2, 1] * v + give[k, 2, 2] * w,
            ),
        )
        for i in range(6):
            found[i] += bent[i]


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
def at_corners(own, corners, near, corner, there):  # type: ignore[no-untyped-def]
    """A tetrahedron's stress (4, 6) at its `corner`s, by the linear field through its points (`own`, by `corners`
    (4, 4)), and `there`, where the zone comes nearest to each corner, whose largest barycentric coordinate there is
    `near` (4,)."""
    for c in range(6):
        for a in range(4):
            corner[a, c] = 0.0
            for q in range(4):
                corner[a, c] += corners[a, q] * own[q, c]
        whole = corner[0, c] + corner[1, c] + corner[2, c] + corner[3, c]
        for a in range(4):
            rest = (1 - near[a]) / 3
            there[a, c] = (near[a] - rest) * corner[a, c] + rest * whole


@compiled
def to_entries(own, corners, near, shift, entry, sign, size, weight, plain, moved, first, last):  # type: ignore[no-untyped-def]
    """The mean of a zone's point stresses `own` (m, k, 4, 6) around each entry, of `weight` (e,), under the loads
    first..last: weighted by the tetrahedra's `size` (m,).

    A corner's value is the one nearest to it in the zone (`at_corners`); into `moved` (k, e, 6) goes the value at a
    place moved by `shift` (m, 4, 4) [barycentric] from there, into `plain` (k, e, 6) the value itself. `sign` (m, 10)
    is -1 where an entry's axes point the other way along the bead: its interlayer shears are then the opposite.
    """
    corner, there, off = np.empty((4, 6)), np.empty((4, 6)), np.empty((4, 6))
    for load in range(first, last):
        plain[load] = 0.0
        moved[load] = 0.0
        for t in range(len(entry)):
            at_corners(own[t, load], corners, near[t], corner, there)
            for c in range(6):
                for a in range(4):
                    off[a, c] = there[a, c]
                    for b in range(4):
                        off[a, c] += shift[t, a, b] * corner[b, c]
            for a in range(10):
                i, j, at = EDGES[a, 0], EDGES[a, 1], entry[t, a]
                part = size[t] / weight[at] / 2
                for c in range(6):
                    turned = part * sign[t, a] if c == 3 or c == 4 else part
                    plain[load, at, c] += turned * (there[i, c] + there[j, c])
                    moved[load, at, c] += turned * (off[i, c] + off[j, c])


@compiled
def energies(own, corners, near, plain, entry, sign, to_points, soft, volume, first, last):  # type: ignore[no-untyped-def]
    """Products of k loads in tetrahedra first..last, both (k, k) [mJ]: twice the elastic energy by which smoothed
    (`plain`) and raw stress differ, and that of the raw stress `own` (m, k, 4, 6). `soft` (6, 6) [1/MPa], `volume`
    (m, 4) [mm^3] of the zone."""
    k = own.shape[1]
    corner, there = np.empty((4, 6)), np.empty((k, 4, 6))
    off, raw = np.empty((k, 6)), np.empty((k, 6))
    wrong, whole = np.zeros((k, k)), np.zeros((k, k))
    for t in range(first, last):
        for load in range(k):
            at_corners(own[t, load], corners, near[t], corner, there[load])
            for a in range(4):
                for c in range(6):
                    turned = sign[t, a] if c == 3 or c == 4 else 1.0
                    there[load, a, c] = turned * plain[load, entry[t, a], c] - there[load, a, c]
        for q in range(4):
            for load in range(k):
                for c in range(6):
                    raw[load, c], off[load, c] = own[t, load, q, c], 0.0
                    for a in range(4):
                        off[load, c] += to_points[q, a] * there[load, a, c]
            add_products(volume[t, q], soft, off, wrong)
            add_products(volume[t, q], soft, raw, whole)
    return wrong + np.tril(wrong, -1).T, whole + np.tril(whole, -1).T


@compiled
def add_products(size, soft, stress, out):  # type: ignore[no-untyped-def]
    """Add to the lower half of `out` (k, k) `size` times the products of stresses (k, 6) by a compliance (6, 6)."""
    for i in range(len(stress)):
        bent = times(soft, stress[i])
        for j in range(i + 1):
            other = stress[j]
            more = bent[0] * other[0] + bent[1] * other[1] + bent[2] * other[2]
            more += bent[3] * other[3] + bent[4] * other[4] + bent[5] * other[5]
            out[i, j] += size * more


@compiled
def to_walls(base, turn, stress, out, first, last):  # type: ignore[no-untyped-def]
    """Point stresses (m, k, 4, 6) of the loads first..last in axes that `base` (6, 6) takes them to, turned by each
    tetrahedron's `turn` (m,) [rad] about the third."""
    for load in range(first, last):
        for t in range(len(turn)):
            c, s = np.cos(turn[t]), np.sin(turn[t])
            for q in range(4):
                put(about_third(c, s, times(base, stress[t, load, q])), out[t, load, q])


@compiled
def from_walls(base, turn, stress, first, last):  # type: ignore[no-untyped-def]
    """Stresses (k, e, 6) of the loads first..last back, in place: turned by -`turn` (e,) [rad] about the third, then
    by `base` (6, 6)."""
    for load in range(first, last):
        for e in range(len(turn)):
            put(times(base, about_third(np.cos(turn[e]), -np.sin(turn[e]), stress[load, e])), stress[load, e])


@compiled
def to_places(place, weight, stress, out, first, last):  # type: ignore[no-untyped-def]
    """The mean `out` (k, n, 6) at each place of the stresses (k, e, 6) of entries, by `weight` (e,); loads
    first..last."""
    whole = np.zeros(out.shape[1])
    for e in range(len(place)):
        whole[place[e]] += weight[e]
    for load in range(first, last):
        out[load] = 0.0
        for e in range(len(place)):
            for c in range(6):
                out[load, place[e], c] += weight[e] / whole[place[e]] * stress[load, e, c]


@compiled
def about_third(c, s, stress):  # type: ignore[no-untyped-def]
    """Six stresses in axes turned by the angle of this cosine and sine about the third."""
    xx, yy, yz, xz, xy = stress[0], stress[1], stress[3], stress[4], stress[5]
    both, shear = 2 * c * s * xy, c * s * (yy - xx) + (c * c - s * s) * xy
    return (
        c * c * xx + s * s * yy + both,
        s * s * xx + c * c * yy - both,
        stress[2],
        c * yz - s * xz,
        c * xz + s * yz,
        shear,
    )


EDGES = np.array([(0, 0), (1, 1), (2, 2), (3, 3), (0, 1), (1, 2), (0, 2), (0, 3), (1, 3), (2, 3)])
"""The corners between which a tetrahedron's nodes lie."""
