# Damage made by outside tools between --only write and --only read, on an image and on a loop device with 4096-byte
# blocks: each kind named, exact counts, CSV, exit status.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

image=$tmp/card.img
run 0 "$BLKASSAY" verify "$image" --create 8Mi --only write --seed 11 --out w.assay --quiet
says "Nothing has been judged yet"
# The command that it names judges what it wrote, whatever the options were.
pasted() { # from $out
	line=$(grep -F "blkassay verify " "$out" | grep -F -- "--only read" | sed 's/^ *blkassay //')
	[ -n "$line" ] || fail "it names no command"
	rm -f p.assay
	eval "run 0 '$BLKASSAY' $line --out p.assay --quiet"
	says "No damaged blocks"
	says "All $1 blocks of 512 B judged"
}
pasted 16384
for how in "--sizes 4Ki,64Ki --order sequential,random --generations 2" "--region 1Mi+2Mi --order random" "--sizes 512"; do
	rm -f o.assay
	# shellcheck disable=SC2086 # words on purpose
	run 0 "$BLKASSAY" verify "it's \$odd.img" --create 4Mi --only write $how --out o.assay --quiet
	case $how in --region*) pasted 4096 ;; *) pasted 8192 ;; esac
	rm -f "it's \$odd.img"
done
cp "$image" right.img
run 0 "$BLKASSAY" verify "$image" --only read --seed 11 --out r0.assay --quiet
says "No damaged blocks. All 16384 blocks of 512 B judged hold what was written."
says "183 in a million" # 1 - 0.05^(1/16384), Clopper and Pearson

dd if=/dev/zero of="$image" bs=512 seek=100 count=3 conv=notrunc status=none      # blank
dd if=right.img of="$image" bs=512 skip=200 seek=300 count=2 conv=notrunc status=none # misplaced by 100 blocks
dd if=/dev/urandom of="$image" bs=512 seek=1000 count=1 conv=notrunc status=none  # foreign
dd if=right.img of="$image" bs=1 skip=1024000 seek=1024007 count=505 conv=notrunc status=none # 7 bytes late
byte=$(dd if="$image" bs=1 skip=2048100 count=1 status=none | od -An -tu1)
printf "\\$(printf '%03o' $((byte ^ 16)))" | dd of="$image" bs=1 seek=2048100 conv=notrunc status=none # bit 4
run 1 "$BLKASSAY" verify "$image" --only read --seed 11 --out r1.assay --csv d.csv --quiet
tells "8 of 16384 blocks of 512 B judged are damaged: 3 blank, 2 misplaced, 1 shifted, 1 with bit errors, 1 foreign."
tr -d '\r' <d.csv | cut -d, -f3- >found
cat >wanted <<'EOF'
class,offset_bytes,length_bytes,generation,evidence
blank,51200,1536,1,all 0x00
misplaced,153600,1024,1,generation 1 of offset 102400 (-51200)
foreign,512000,512,1,
shifted,1024000,512,1,7 bytes inserted
EOF
head -n 5 found | cmp -s - wanted || fail "d.csv differs: $(cat found)"
flipped=$((byte >> 4 & 1)) # what was expected
grep -qx "bit-error,2048000,512,1,\"bit 4 of byte 100 read $((1 - flipped)), expected $flipped\"" found || fail "no bit error: $(cat found)"
[ "$(wc -l <found)" = 6 ] || fail "d.csv has more lines: $(cat found)"

# The record says the same later, as text and as CSV.
grep -v '^  record ' "$out" >shown
run 0 "$BLKASSAY" report r1.assay
grep -v '^  record ' "$out" | cmp -s - shown || fail "report shows something else"
run 0 "$BLKASSAY" report r1.assay --csv -
cmp -s "$out" d.csv || fail "report --csv writes something else"
fits 80 shown

# The wrong seed, or the wrong card, is not taken for damage.
run 4 "$BLKASSAY" verify "$image" --only read --seed 12 --region 4Mi+4Mi --out r2.assay --quiet
tells "carry the stamp of another run, with seed 11"
says_not "are damaged"
truncate -s 128M nobody.img
run 4 "$BLKASSAY" verify nobody.img --only read --seed 5 --out r4.assay --quiet
tells "not one of the 262144 blocks of 512 B read bears a stamp"
says_not "damaged"
# It wrote, and nothing of it is there: damage.
cp right.img "$image"
dd if=/dev/zero of="$image" bs=1M seek=1 count=7 conv=notrunc status=none
run 1 "$BLKASSAY" verify "$image" --only read --seed 11 --out r5.assay --quiet
tells "Nothing from byte 1048576 on was kept"
# The same seed twice would hide lost writes.
run 2 "$BLKASSAY" verify "$image" --erase "$(image_token "$image")" --seed 11 --out r3.assay
says "choose another seed"

[ "$(id -u)" = 0 ] && [ -e /dev/loop-control ] || skip "the image passed; loop devices need root"
truncate -s 4M disk.img
loop_device "$tmp/disk.img" 4096
run 2 "$BLKASSAY" verify "$loop" --seed 5 --out l0.assay
says "needs consent"
token=$(token_of "$loop")
[ -n "$token" ] || fail "targets --csv - names no token for $loop"
run 0 "$BLKASSAY" verify "$loop" --erase "$token" --fixed-disk --only write --seed 5 --out l1.assay --quiet
let_go "$loop"
dd if=/dev/zero of=disk.img bs=4096 seek=17 count=1 conv=notrunc status=none
attach --sector-size 4096 disk.img
loop=$device
run 1 "$BLKASSAY" verify "$loop" --only read --seed 5 --out l2.assay --quiet
says "1 of 1024 blocks of 4096 B judged is damaged: 1 blank"
exit 0
