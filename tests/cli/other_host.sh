# What another kind of host wrote reads here: a record, a target with stamps, and data kept by a run that was killed. Those in
# tests/data/other-host come from a big-endian one (s390x, 64 bits), so the order of bytes and the width of numbers differ.
. "$(dirname "$0")/lib.sh"
data=$here/../data/other-host
cp "$data"/* "$tmp" || fail "no data of another host"
cd "$tmp" || exit 1
chmod 600 ./*

run 0 "$BLKASSAY" report stamped.assay
tells "8.19 kB written. Nothing has been judged yet."
tells "Linux 6.1.0 s390x"
run 0 "$BLKASSAY" verify stamped.img --only read --seed 7 --sizes 4Ki --out read.assay
tells "No damaged blocks. All 16 blocks of 512 B judged hold what was written."
run 4 "$BLKASSAY" verify stamped.img --only read --seed 8 --sizes 4Ki --out other.assay
tells "carry the stamp of another run, with seed 7"

# 16 KiB of numbered lines, of which the run had 8 KiB from byte 4096 on.
awk 'BEGIN { for (i = 0; i < 2000; i++) printf "%06d a made-up log of a made-up buoy, line by line, 64 bytes each\n", i }' |
	head -c 16384 >before.img
cmp -s before.img card.img && fail "nothing is there to be put back"
run 0 "$BLKASSAY" report kept.assay
tells "The record ends before the target's own data was put back: what was kept (8 KiB from byte 4096)"
run 0 "$BLKASSAY" restore kept.assay.kept card.img
says "8 KiB written, the rest was there already; all of it reads back as it was saved"
cmp before.img card.img || fail "what was put back is not what was saved"

# One bit of what was kept is told from what it was.
printf 'X' | dd of=kept.assay.kept bs=1 seek=9000 conv=notrunc 2>/dev/null
run 3 "$BLKASSAY" restore kept.assay.kept card.img
says "is damaged in chunk"
