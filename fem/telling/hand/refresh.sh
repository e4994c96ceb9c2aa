#!/bin/sh
# Makes three.min.js and its licence again from the npm registry (needs node and npm): sh fem/telling/hand/refresh.sh
set -eu
three=0.187.0
esbuild=0.28.2
here=$(cd "$(dirname "$0")" && pwd)
made=$(mktemp -d)
trap 'rm -rf "$made"' EXIT
cd "$made"
npm init -y >/dev/null
npm install --no-fund --no-audit --save-exact "three@$three" "esbuild@$esbuild" >/dev/null
cp "$here/library.mjs" .
npx esbuild library.mjs --bundle --minify --target=es2022 --format=iife --global-name=three --legal-comments=none \
  --banner:js="/* three.js $three, MIT licence, see three.LICENSE.txt */" --outfile="$here/three.min.js"
cp node_modules/three/LICENSE "$here/three.LICENSE.txt"
