# Damage made by outside tools between --only write and --only read, on an image and on a loop device with 4096-byte
# blocks: each kind named, exact counts, CSV, exit status.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

image=$tmp/card.img
run 0 "$BLKASSAY" verify "$image" --create 8Mi --only write --seed 11 --out w.assay --quiet
says "Nothing has been judged yet"
cp "$image" right.img
run 0 "$BLKASSAY" verify "$image" --only read --seed 11 --out r0.assay --quiet
says "All 16384 blocks of 512 B judged hold what was written"
says "0.000183" # 1 - 0.05^(1/16384), Clopper and Pearson

dd if=/dev/zero of="$image" bs=512 seek=100 count=3 conv=notrunc status=none      # blank
dd if=right.img of="$image" bs=512 skip=200 seek=300 count=2 conv=notrunc status=none # misplaced by 100 blocks
dd if=/dev/urandom of="$image" bs=512 seek=1000 count=1 conv=notrunc status=none  # foreign
dd if=right.img of="$image" bs=1 skip=1024000 seek=1024007 count=505 conv=notrunc status=none # 7 bytes late
byte=$(dd if="$image" bs=1 skip=2048100 count=1 status=none | od -An -tu1)
printf "\\$(printf '%03o' $((byte ^ 16)))" | dd of="$image" bs=1 seek=2048100 conv=notrunc status=none # bit 4
run 1 "$BLKASSAY" verify "$image" --only read --seed 11 --out r1.assay --damage d.csv --quiet
says "8 of 16384 blocks of 512 B judged are damaged: 3 blank, 2 misplaced, 1"
says "shifted, 1 bit error, 1 foreign."
tr -d '\r' <d.csv >found
cat >wanted <<'EOF'
class,offset_bytes,length_bytes,detail
blank,51200,1536,all 0x00
misplaced,153600,1024,generation 1 of offset 102400 (-51200)
foreign,512000,512,
shifted,1024000,512,7 bytes inserted
EOF
head -n 5 found | cmp -s - wanted || fail "d.csv differs: $(cat found)"
grep -q '^bit error,2048000,512,"1 bit: .*bit 4 of byte 100"$' found || fail "no bit error: $(cat found)"
[ "$(wc -l <found)" = 6 ] || fail "d.csv has more lines: $(cat found)"

# The record says the same later, as text and as CSV.
sed -n '/^FOUND/,$p' "$out" >shown
run 0 "$BLKASSAY" report r1.assay
sed -n '/^FOUND/,$p' "$out" | cmp -s - shown || fail "report shows something else"
run 0 "$BLKASSAY" report r1.assay --csv -
cmp -s "$out" d.csv || fail "report --csv writes something else"
awk 'length > 80 { exit 1 }' shown || fail "a line is wider than 80 columns"

# The wrong seed is not taken for lost writes without saying so.
run 1 "$BLKASSAY" verify "$image" --only read --seed 12 --out r2.assay --quiet
tells "carry the stamp of another run, with seed 11"
# The same seed twice would hide lost writes.
run 2 "$BLKASSAY" verify "$image" --erase card.img --seed 11 --out r3.assay
says "choose another seed"

[ "$(id -u)" = 0 ] && [ -e /dev/loop-control ] || skip "the image passed; loop devices need root"
truncate -s 4M disk.img
loop_device "$tmp/disk.img" 4096
run 2 "$BLKASSAY" verify "$loop" --seed 5 --out l0.assay
says "needs consent"
token=$("$BLKASSAY" targets --csv | tr -d '\r' | awk -F, -v d="$loop" 'NR == 1 { for (i = 1; i <= NF; i++) if ($i == "token") t = i } index($0, d ",") || index($0, d "\"") { print $t }' | tr -d '"' | head -n 1)
[ -n "$token" ] || fail "targets --csv names no token for $loop"
run 0 "$BLKASSAY" verify "$loop" --erase "$token" --fixed-disk --only write --seed 5 --out l1.assay --quiet
let_go "$loop"
dd if=/dev/zero of=disk.img bs=4096 seek=17 count=1 conv=notrunc status=none
attach --sector-size 4096 disk.img
loop=$device
run 1 "$BLKASSAY" verify "$loop" --only read --seed 5 --out l2.assay --quiet
says "1 of 1024 blocks of 4096 B judged are damaged: 1 blank"
exit 0
