#!/bin/sh
# Installs what is missing, builds, and does the main job on a fresh image file on this disk: sweep it, leave the run
# record, the CSV and the plain-text summary under results/demo. Takes about a minute. Touches no device.
set -eu
cd "$(dirname "$0")/.."
. scripts/need.sh
need_build
jobs=$(nproc 2>/dev/null || echo 1)
echo "Building ..."
make -s -j"$jobs" QUIET=1 all
tool=build/blkassay
out=results/demo
rm -rf "$out"
mkdir -p "$out"
# Killed half way, it leaves nothing that could be taken for a whole result.
trap 'rm -rf "$out"' EXIT
trap 'exit 130' INT
trap 'exit 143' TERM HUP
image=$out/card.img

echo
echo "== Reads and writes on a fresh 64 MiB image file on this disk =="
$tool sweep "$image" --create 64Mi --direction read,write --sizes 512..1Mi --seconds 0.1 --passes 5 \
	--label "demo image" --out "$out/demo.assay" >/dev/null
$tool report "$out/demo.assay" --csv "$out/demo.csv"
$tool report "$out/demo.assay" >"$out/demo.txt"
cat "$out/demo.txt"
$tool report "$out/demo.assay" --page "$out/demo.html"
rm -f "$image"
echo
echo "Record $out/demo.assay, CSV $out/demo.csv, summary $out/demo.txt, page with charts $out/demo.html."
echo
echo "== And the story of three builds of an invented gadget, modelled, not measured =="
sh scripts/story.sh "$out/story"
trap - EXIT
echo
echo "Everything is in $out: $out/story holds the records and texts of the story."
