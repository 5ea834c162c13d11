# The bound of a clean verify rests on blocks, not on how often each was judged.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
# 1 - 0.05^(1/n), exact for none of n: as blkassay prints it, but worked out by awk.
bound() { awk -v n="$1" 'BEGIN { printf "fewer than %.3g %% of blocks", 100 * (1 - exp(log(0.05) / n)) }'; }
run 0 "$BLKASSAY" verify a.img --create 1Mi --seed 5 --out a.assay
tells "All 2048 blocks of 512 B judged hold what was written."
tells "$(bound 2048)"
run 0 "$BLKASSAY" verify b.img --create 1Mi --seed 5 --sizes 4Ki,64Ki --out b.assay
tells "All 2048 blocks of 512 B judged (each 2 times) hold what was written."
tells "$(bound 2048)"
run 0 "$BLKASSAY" verify b.img --seed 5 --sizes 4Ki,64Ki --only read --out c.assay
tells "All 2048 blocks of 512 B judged (each 2 times) hold what was written."
tells "$(bound 2048)"
run 0 "$BLKASSAY" verify c.img --create 1Mi --seed 5 --order sequential,random --generations 3 --out d.assay
tells "All 2048 blocks of 512 B judged (each 6 times)"
tells "$(bound 2048)"
run 0 "$BLKASSAY" verify d.img --create 1Mi --seed 5 --spot 16 --sizes 4Ki --generations 2 --out e.assay
tells "All 128 blocks of 512 B judged (each 2 times)"
tells "$(bound 128)"
dd if=/dev/zero of=b.img bs=512 seek=100 count=1 conv=notrunc status=none
run 1 "$BLKASSAY" verify b.img --seed 5 --sizes 4Ki,64Ki --only read --out f.assay
tells "2 of 4096 blocks of 512 B judged are damaged: 2 blank. A block counts each time it was judged: once a pass."
