# A sparse image on a disk that fills up while it is written: the run ends with 3, and the image holds its own data again, or
# that is said to be saved and can be put back.
. "$(dirname "$0")/lib.sh"
requires_root
truncate -s 24M "$tmp/small.fs"
mkfs.ext4 -q -m 0 "$tmp/small.fs" 2>/dev/null || skip "needs mkfs.ext4"
mkdir "$tmp/small"
mount -o loop "$tmp/small.fs" "$tmp/small" || skip "cannot mount here"
cleanup "umount '$tmp/small' 2>/dev/null"
image=$tmp/small/sparse.img
truncate -s 64M "$image"
dd if=/dev/urandom of="$image" bs=1M seek=8 count=2 conv=notrunc status=none
before=$(sha256sum <"$image")
for command in "verify --sizes 1Mi" "verify --sizes 64Ki --order random" "sweep --direction write --sizes 1Mi --seconds 20 --passes 1"; do
	# shellcheck disable=SC2086
	run 3 "$BLKASSAY" ${command%% *} "$image" --keep-data ${command#* } --out "$tmp/full.assay"
	says "No space left on device"
	if [ "$(sha256sum <"$image")" != "$before" ]; then
		[ -s "$tmp/full.assay.kept" ] || fail "the image's data is lost"
		run 0 "$BLKASSAY" restore "$tmp/full.assay.kept" "$image"
	fi
	[ "$(sha256sum <"$image")" = "$before" ] || fail "the image is not as before"
	rm -f "$tmp/full.assay" "$tmp/full.assay.kept"
	# What the run filled up is given back: to the filesystem as well.
	fallocate --dig-holes "$image" 2>/dev/null || skip "cannot dig holes here; the rest passed"
done
# Consent by token alone: what is outside the region is as before.
token=$(image_token "$image")
run 3 "$BLKASSAY" verify "$image" --erase "$token" --sizes 1Mi --region 16Mi+48Mi --out "$tmp/full.assay"
says "No space left on device"
[ "$(head -c 16M "$image" | sha256sum)" = "$(head -c 16M /dev/zero | dd of=/dev/stdout status=none | sha256sum)" ] &&
	fail "the test's own image is empty"
[ "$(dd if="$image" bs=1M skip=8 count=2 status=none | sha256sum)" != "$(head -c 2M /dev/zero | sha256sum)" ] ||
	fail "bytes outside the region were written"
