# An image has no SCSI: the audit does what plain I/O can show, says what it could not ask, and puts kept data back.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
head -c 1048576 /dev/urandom >a.img
sum=$(sha256sum <a.img)
run 0 "$BLKASSAY" audit a.img --keep-data --seed 2 --out a.assay --quiet
says "kept       stored:"
says "not shown  flush:"
says "no SCSI command path"
says "it takes no SCSI commands"
[ "$(sha256sum <a.img)" = "$sum" ] || fail "the kept data did not come back"
run 0 "$BLKASSAY" report a.assay
says "No broken promise found"
# A record cut anywhere is shown as far as it goes, and never as a pass.
head -c "$(($(wc -c <a.assay) * 2 / 3))" a.assay >cut.assay
run 0 "$BLKASSAY" report cut.assay
says "the audit did not finish"
