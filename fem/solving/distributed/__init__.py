"""The solve shared among several processes or machines: PETSc under MPI.

Started as `mpirun -n N beadwork run STUDY`: rank 0 goes through the whole story and makes a
`solver.DistributedSolver`, the others `serve` it.
"""

from fem.solving.distributed.ranks import place, serve, serving

__all__ = ["place", "serve", "serving"]
