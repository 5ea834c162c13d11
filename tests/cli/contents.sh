# What is on a target is told before it is given up: filesystems as mkfs makes them, in partitions too. blkid, of util-linux,
# says the same of each.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1
PATH=$PATH:/usr/sbin:/sbin
command -v mkfs.vfat >/dev/null || skip "needs mkfs.vfat"
command -v mkfs.ext4 >/dev/null || skip "needs mkfs.ext4"
command -v blkid >/dev/null || skip "needs blkid"

# make NAME SIZE COMMAND...: an image with that filesystem
make_fs() {
	truncate -s "$2" "$1.img"
	name=$1
	shift 2
	"$@" "$name.img" >/dev/null 2>&1 || skip "$* failed"
}
make_fs f12 4M mkfs.vfat -F 12 -n TWELVE
make_fs f16 64M mkfs.vfat -F 16 -n SIXTEEN
make_fs f32 256M mkfs.vfat -F 32 -n "LOG CARD"
make_fs e2 16M mkfs.ext2 -q -L two
make_fs e4 64M mkfs.ext4 -q -L "four four"
make_fs bare 8M true

token() { image_token "$1" 2>/dev/null || basename "$1"; }
tell() { # NAME WHAT
	# The seed says the same each time; nothing outside the region is touched.
	run 0 "$BLKASSAY" verify "$1.img" --erase "$(token "$1.img")" --region 1Mi+64Ki --out "$1.assay"
	says "on the target: $2"
	rm -f "$1.assay"
}
for name in f12:FAT12 f16:FAT16 f32:FAT32 e2:ext2 e4:ext4; do
	kind=${name#*:} name=${name%:*}
	label=$(blkid -p -o value -s LABEL $name.img)
	[ -n "$label" ] || fail "blkid finds no label on $name"
	found=$(blkid -p -o value -s VERSION $name.img | grep FAT || blkid -p -o value -s TYPE $name.img)
	[ "$found" = "$kind" ] || fail "mkfs did not make $kind but $found"
	tell $name "$kind '$label'"
	says "65.5 kB of it lies in the region"
done
run 0 "$BLKASSAY" verify bare.img --erase "$(token bare.img)" --region 1Mi+64Ki --out bare.assay
says_not "on the target:"

# Two partitions by MBR, then by GPT (UEFI specification 2.10, tables 5-3, 5-5 and 5-6).
cat >part.py <<'END'
import struct, sys
table, image = sys.argv[1:]
parts = [("f16.img", 2048), ("e4.img", 2048 + 131072)]
with open(image, "wb") as disk:
    disk.truncate(200 << 20)
    for name, start in parts:
        disk.seek(start * 512)
        disk.write(open(name, "rb").read())
    disk.seek(446)
    if table == "mbr":
        for kind, (_, start) in zip((0x0e, 0x83), parts):
            disk.write(struct.pack("<B3sB3sII", 0, bytes(3), kind, bytes(3), start, 131072))
    else:
        disk.write(struct.pack("<B3sB3sII", 0, bytes(3), 0xee, bytes(3), 1, 409599))
    disk.seek(510)
    disk.write(b"\x55\xaa")
    if table == "gpt":
        disk.write(struct.pack("<8sIIIIQQQQ16sQIII", b"EFI PART", 0x10000, 92, 0, 0, 1, 409599, 34, 409566, bytes(16), 2, 128, 128, 0))
        for i, (_, start) in enumerate(parts):
            disk.seek(1024 + 128 * i)
            disk.write(struct.pack("<16s16sQQQ72s", b"kind" * 4, b"part" * 4, start, start + 131071, 0, bytes(72)))
END
for table in mbr gpt; do
	python3 part.py $table disk.img
	run 0 "$BLKASSAY" verify disk.img --erase "$(token disk.img)" --region 64Mi+2Mi --out $table.assay
	says "on the target: FAT16 'SIXTEEN', 67.1 MB; 1.05 MB of it lies in the region"
	says "on the target: ext4 'four four', 67.1 MB; 1.05 MB of it lies in the region"
	rm -f disk.img
done
requires_root
loop_device f32.img
run 0 "$BLKASSAY" targets
awk -v loop="$loop," '$1 == loop { on = 1 } on && /holds/ { print; exit }' "$out" | grep -q "FAT32 'LOG CARD'" ||
	fail "targets does not say what $loop holds"
