#!/bin/sh
# Sets Beadwork up on a bare Debian or Ubuntu that has python3 and python3-venv.
#   sh setup.sh         installs it into .venv
#   sh setup.sh demo    ... and answers the demonstration study
#   sh setup.sh test    ... and runs linters, type checks and the whole test suite
set -eu
here=$(cd "$(dirname "$0")" && pwd)
cd "$here"
what=${1:-install}
case $what in
install | demo | test) ;;
*) echo "Use: sh setup.sh [demo | test]" >&2; exit 2 ;;
esac

# 1. System libraries that gmsh and VTK need even where there is no screen
packages="libglu1-mesa libgl1 libegl1 libgl1-mesa-dri libxrender1 libxcursor1 libxft2 libxinerama1 libfontconfig1 libgomp1 libxfixes3 libxi6"
if command -v dpkg-query >/dev/null 2>&1; then
  lacking=""
  for package in $packages; do
    dpkg-query -W -f='${Status}' "$package" 2>/dev/null | grep -q "install ok installed" || lacking="$lacking $package"
  done
  if [ -n "$lacking" ]; then
    if [ "$(id -u)" -eq 0 ]; then
      echo "Installing system libraries:$lacking"
      apt-get update -q >/dev/null
      DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $lacking >/dev/null
    else
      echo "System libraries are lacking. Run this line, then this script again:" >&2
      echo "  sudo apt-get update && sudo apt-get install -y --no-install-recommends$lacking" >&2
      exit 2
    fi
  fi
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
echo "Installing Beadwork into .venv"
.venv/bin/python -m pip install --quiet --disable-pip-version-check --upgrade pip
if [ "$what" = test ]; then
  .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable ".[test]"
else
  .venv/bin/python -m pip install --quiet --disable-pip-version-check --editable .
fi

# 3. What was asked for
case $what in
install) echo "Done. Try: .venv/bin/beadwork check studies/wing_saddle.toml" ;;
demo) .venv/bin/beadwork run studies/wing_saddle.toml --out results/wing_saddle ;;
test)
  .venv/bin/ruff check .
  .venv/bin/ruff format --check .
  .venv/bin/mypy
  .venv/bin/python -m pytest
  ;;
esac
