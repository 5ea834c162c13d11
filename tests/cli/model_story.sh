# The demo's story comes out as told, and keeps its records where it was told to.
. "$(dirname "$0")/lib.sh"
run 0 env TMPDIR="$tmp" sh "$here/../../scripts/story.sh"
says "Build c must not ship"
[ "$(ls "$tmp" | grep -cv '^out$\|^err$')" = 0 ] || fail "it left something in its temporary folder"
run 0 sh "$here/../../scripts/story.sh" "$tmp/kept"
[ -s "$tmp/kept/buoy-c.assay" ] || fail "no run record was kept"
# A second time into the same folder.
run 0 sh "$here/../../scripts/story.sh" "$tmp/kept"
exit 0
