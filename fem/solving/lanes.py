"""Several columns in one register: what numba's own search for wide sums finds only by luck.

`load`, `store`, `zeros`, `add_scaled`, `prefetch` and their like are for compiled loops. They stand for few
instructions on whole lanes, that is on 4 or 8 neighbouring numbers of a flat array. LLVM fits the lanes to the
processor at hand, so that they are right on every one and quick where its registers are wide.

numba keeps compiled loops on disk by the file they stand in: whoever changes this file also touches products.py.
"""

from typing import Any

from llvmlite import ir
from numba.core import cgutils, types
from numba.extending import intrinsic, models, register_model


class Lanes(types.Type):
    """`width` neighbouring numbers of one precision."""

    def __init__(self, dtype, width) -> None:  # type: ignore[no-untyped-def]
        self.dtype, self.width = dtype, width
        super().__init__(f"Lanes({dtype}, {width})")


def _register(lanes):  # type: ignore[no-untyped-def]
    number = ir.FloatType() if lanes.dtype == types.float32 else ir.DoubleType()
    return ir.VectorType(number, lanes.width)


@register_model(Lanes)
class _LanesModel(models.PrimitiveModel):
    def __init__(self, manager, lanes) -> None:  # type: ignore[no-untyped-def]
        super().__init__(manager, lanes, _register(lanes))


def _instruction(code: Any) -> Any:
    """A call that compiled loops replace by the instructions which `code` names; constants reach it as constants."""
    return intrinsic(prefer_literal=True)(code)


def _address(context, builder, kind, array, place):  # type: ignore[no-untyped-def]
    return builder.gep(context.make_array(kind)(context, builder, array).data, [place])


@_instruction
def load(_typing, x, place, width):  # type: ignore[no-untyped-def]
    """x[place : place + width] of a flat array; the width is a constant."""
    lanes = Lanes(x.dtype, width.literal_value)

    def code(context, builder, _signature, args):  # type: ignore[no-untyped-def]
        where = builder.bitcast(_address(context, builder, x, *args[:2]), _register(lanes).as_pointer())
        found = builder.load(where)
        found.align = x.dtype.bitwidth // 8
        return found

    return lanes(x, types.uint64, width), code


@_instruction
def store(_typing, x, place, lanes):  # type: ignore[no-untyped-def]
    """x[place : place + width] = lanes."""

    def code(context, builder, _signature, args):  # type: ignore[no-untyped-def]
        where = builder.bitcast(_address(context, builder, x, *args[:2]), _register(lanes).as_pointer())
        builder.store(args[2], where).align = x.dtype.bitwidth // 8
        return context.get_dummy_value()

    return types.void(x, types.uint64, lanes), code


@_instruction
def zeros(_typing, x, width):  # type: ignore[no-untyped-def]
    """Zeros in the precision of an array; the width is a constant."""
    lanes = Lanes(x.dtype, width.literal_value)
    return lanes(x, width), lambda *_: ir.Constant(_register(lanes), None)


@_instruction
def add_scaled(_typing, total, factor, lanes):  # type: ignore[no-untyped-def]
    """total + factor lanes, one rounding where the processor can."""

    def code(_context, builder, _signature, args):  # type: ignore[no-untyped-def]
        kind, index = _register(lanes), ir.IntType(32)
        none = ir.Constant(kind, ir.Undefined)
        first = builder.insert_element(none, args[1], index(0))
        every = builder.shuffle_vector(first, none, ir.Constant(ir.VectorType(index, lanes.width), None))
        return builder.fadd(args[0], builder.fmul(every, args[2], flags=("contract",)), flags=("contract",))

    return lanes(total, lanes.dtype, lanes), code


@_instruction
def add_times(_typing, total, lanes, other):  # type: ignore[no-untyped-def]
    """total + lanes * other, each with each."""

    def code(_context, builder, _signature, args):  # type: ignore[no-untyped-def]
        return builder.fadd(args[0], builder.fmul(args[1], args[2], flags=("contract",)), flags=("contract",))

    return lanes(total, lanes, other), code


@_instruction
def load_six(_typing, x, place, swapped):  # type: ignore[no-untyped-def]
    """x[place : place + 6] in the first of eight lanes; its halves swapped where the constant `swapped` is 1."""
    lanes, order = Lanes(x.dtype, 8), _SWAPPED if swapped.literal_value else _STRAIGHT

    def code(context, builder, _signature, args):  # type: ignore[no-untyped-def]
        low, high = (_some(context, builder, x, args, at, 4) for at in (0, 2))
        found = [builder.load(where) for where in (low, high)]
        for each in found:
            each.align = x.dtype.bitwidth // 8
        return builder.shuffle_vector(*found, _places(order))

    return lanes(x, types.uint64, swapped), code


@_instruction
def add_six(_typing, x, place, lanes, swapped):  # type: ignore[no-untyped-def]
    """x[place : place + 6] += the first six of eight lanes, whose halves are swapped where `swapped` is 1."""

    def code(context, builder, _signature, args):  # type: ignore[no-untyped-def]
        given = args[2]
        if swapped.literal_value:
            given = builder.shuffle_vector(given, given, _places((3, 4, 5, 0, 1, 2, 6, 7)))
        for at, width in ((0, 4), (4, 2)):
            where = _some(context, builder, x, args, at, width)
            some = builder.shuffle_vector(given, given, _places(range(at, at + width)))
            old = builder.load(where)
            old.align = x.dtype.bitwidth // 8
            builder.store(builder.fadd(old, some), where).align = x.dtype.bitwidth // 8
        return context.get_dummy_value()

    return types.void(x, types.uint64, lanes, swapped), code


_STRAIGHT, _SWAPPED = (0, 1, 2, 3, 6, 7, 0, 0), (3, 6, 7, 0, 1, 2, 0, 0)


def _places(order):  # type: ignore[no-untyped-def]
    return ir.Constant(ir.VectorType(ir.IntType(32), len(order)), list(order))


def _some(context, builder, x, args, by, width):  # type: ignore[no-untyped-def]
    """Where `width` numbers lie from args[1] + by of the array args[0]."""
    kind = ir.VectorType(_register(Lanes(x.dtype, width)).element, width)
    place = builder.add(args[1], args[1].type(by))
    return builder.bitcast(_address(context, builder, x, args[0], place), kind.as_pointer())


@_instruction
def prefetch(_typing, x, place):  # type: ignore[no-untyped-def]
    """Have x[place] brought near: it will be read soon. The place must lie inside the array."""

    def code(context, builder, _signature, args):  # type: ignore[no-untyped-def]
        byte, number = ir.IntType(8).as_pointer(), ir.IntType(32)
        kind = ir.FunctionType(ir.VoidType(), [byte, number, number, number])
        call = cgutils.get_or_insert_function(builder.module, kind, "llvm.prefetch.p0i8")
        where = builder.bitcast(_address(context, builder, x, *args), byte)
        builder.call(call, [where, number(0), number(3), number(1)])  # to read, keep, data
        return context.get_dummy_value()

    return types.void(x, types.uint64), code
