#!/bin/sh
# Sets Beadwork up on a bare Debian or Ubuntu that has python3 and python3-venv.
#   sh setup.sh               installs it into .venv
#   sh setup.sh demo          ... and solves the demonstration study
#   sh setup.sh distributed   ... with PETSc and MPI, built once for this user (about 20 minutes on two cores)
#   sh setup.sh test          ... with the tools, and runs linters, type checks and all tests
#   sh setup.sh test distributed   ... the tests of the solver "distributed" too, with PETSc and MPI
set -eu
here=$(cd "$(dirname "$0")" && pwd)
cd "$here"
what=${1:-install}
case "$what ${2:-}" in
"install " | "demo " | "distributed " | "test " | "test distributed") ;;
*) echo "Use: sh setup.sh [demo | distributed | test [distributed]]" >&2; exit 2 ;;
esac
wheels=${XDG_CACHE_HOME:-$HOME/.cache}/beadwork/wheels

# The packages among those named that this Debian lacks
lacking() {
  command -v dpkg-query >/dev/null 2>&1 || return 0
  for package in "$@"; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q "install ok installed" || printf ' %s' "$package"
  done
}

# Install packages when root is at the keyboard; else print the line to run, and fail
fetch() {
  if [ "$(id -u)" -eq 0 ]; then
    echo "Installing system packages: $*"
    apt-get update -q >/dev/null && DEBIAN_FRONTEND=noninteractive \
      apt-get install -q -y --no-install-recommends "$@" >/dev/null
  else
    echo "System packages are lacking. Run this line, then this script again:" >&2
    echo "  sudo apt-get update && sudo apt-get install -y --no-install-recommends $*" >&2
    return 1
  fi
}

# 1. System libraries that gmsh and VTK need even where there is no screen
missing=$(lacking libglu1-mesa libgl1 libegl1 libgl1-mesa-dri libxrender1 libxcursor1 libxft2 libxinerama1 \
  libfontconfig1 libgomp1 libxfixes3 libxi6)
# shellcheck disable=SC2086  # one word a package
[ -z "$missing" ] || fetch $missing || exit 2

# A browser, and what reads a PDF, for the tests of pages; these are left out where there is none
if [ "$what" = test ]; then
  missing=$(command -v chromium >/dev/null 2>&1 || printf chromium; command -v pdftotext >/dev/null 2>&1 || printf ' poppler-utils')
  # shellcheck disable=SC2086  # one word a package
  [ -z "$missing" ] || fetch $missing || echo "Without $missing the tests of pages are left out."
fi

# 2. The environment
python=${PYTHON:-python3}
"$python" -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
  echo "Python 3.11 or newer is needed; PYTHON=/path/to/python3.11 sh setup.sh names another one." >&2
  exit 2
}
[ -x .venv/bin/python ] || "$python" -m venv .venv || {
  echo "python3-venv is lacking: sudo apt-get install -y python3-venv" >&2
  exit 2
}
pip() {
  .venv/bin/python -m pip "$@" --quiet --disable-pip-version-check
}
echo "Installing Beadwork into .venv"
pip install --upgrade pip
if [ "$what" = test ]; then
  pip install --editable ".[test]"
else
  pip install --editable .
fi

# 3. PETSc and MPI, for the solver "distributed"
shared_solve_loads() {
  command -v mpirun >/dev/null 2>&1 && .venv/bin/python -c 'from mpi4py import MPI; from petsc4py import PETSc' >/dev/null 2>&1
}

# Wheels that this user has built before, if they fit this Python and this MPI
install_wheels() {
  [ -d "$wheels" ] || return 1
  pip install --no-index --find-links "$wheels" --no-deps --force-reinstall \
    "mpi4py>=4" "petsc>=3.22" "petsc4py>=3.22" 2>/dev/null && shared_solve_loads
}

build_wheels() {
  for tool in gcc g++ gfortran make mpicc mpirun; do
    command -v $tool >/dev/null 2>&1 || { echo "$tool is not installed." >&2; return 1; }
  done
  echo "Building PETSc into $wheels: once, about 20 minutes on two cores (log: $wheels/build.log)"
  mkdir -p "$wheels" || return 1
  limit=""
  command -v timeout >/dev/null 2>&1 && limit="timeout 4500"
  make=$(mktemp -d)
  # petsc4py is built against the wheel of petsc that was just built; what is finished is moved, so nothing half is kept
  for package in petsc "petsc4py mpi4py"; do
    # shellcheck disable=SC2086  # one word a package
    PIP_FIND_LINKS="$wheels ${PIP_FIND_LINKS:-}" MAKEFLAGS="-j$(nproc 2>/dev/null || echo 2)" $limit \
      .venv/bin/python -m pip wheel --disable-pip-version-check --no-deps --wheel-dir "$make" $package \
      >>"$wheels/build.log" 2>&1 || { rm -rf "$make"; echo "It failed: see $wheels/build.log" >&2; return 1; }
    mv "$make"/*.whl "$wheels" || return 1
  done
  rm -rf "$make"
}

set_up_shared_solve() {
  shared_solve_loads && return 0
  headers=$(.venv/bin/python -c 'import os, sysconfig; print(os.path.exists(sysconfig.get_path("include") + "/Python.h"))')
  needed="g++ gfortran make libopenmpi-dev openmpi-bin libopenblas-dev"
  [ "$headers" = True ] || needed="$needed python3-dev"
  # shellcheck disable=SC2086  # one word a package
  missing=$(lacking $needed)
  # shellcheck disable=SC2086
  [ -z "$missing" ] || fetch $missing || return 1
  install_wheels || { build_wheels && install_wheels; }
}

# As many test processes as there are cores, but no more than memory allows
test_processes() {
  .venv/bin/python - <<END
from fem.cores import cores
from fem.memory import available_memory
print(max(1, min(cores(), int(available_memory() // 2e9))))
END
}

marked=""
case $what in
distributed)
  set_up_shared_solve || { echo "PETSc and MPI could not be set up; all other solvers are ready." >&2; exit 2; }
  ;;
test)
  if [ "${2:-}" = distributed ]; then
    set_up_shared_solve || { echo "PETSc and MPI could not be set up." >&2; exit 2; }
  elif ! shared_solve_loads && ! install_wheels; then
    # Built from source they take some 20 minutes, which nobody wants before a first test
    echo "PETSc and MPI are not here: the tests marked \"distributed\" are left out (sh setup.sh test distributed)."
    marked="not distributed"
  fi
  ;;
esac

# 4. What was asked for
case $what in
install) echo "Done. Try: .venv/bin/beadwork check studies/wing_saddle.toml" ;;
demo) .venv/bin/beadwork run studies/wing_saddle.toml --out results/wing_saddle ;;
distributed) echo "Done. Try: mpirun -n 2 --bind-to none .venv/bin/beadwork run studies/wing_saddle.toml" ;;
test)
  .venv/bin/ruff check .
  .venv/bin/ruff format --check .
  .venv/bin/mypy
  # The loops are compiled once, here, lest every test process does it
  first=$(mktemp -d)
  .venv/bin/beadwork run studies/cantilever_bracket.toml --out "$first/out" >"$first/log" 2>&1 || {
    cat "$first/log" >&2
    exit 1
  }
  rm -rf "$first"
  # A file of tests goes to one process, one process a core and 2 GB. A lost process or a test that hangs fails the run
  .venv/bin/python -m pytest -m "$marked" -n "$(test_processes)" --dist loadfile --max-worker-restart 0 \
    --timeout 300 --timeout-method thread
  ;;
esac
