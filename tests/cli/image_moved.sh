# Images that changed their folder, and others of the same name and size: the same line in another folder writes nothing there;
# what was written can be judged and gone on with wherever the image is by now.
. "$(dirname "$0")/lib.sh"
mkdir "$tmp/a" "$tmp/b" "$tmp/c"
cd "$tmp" || exit 1
for folder in a b; do head -c 1M /dev/urandom >$folder/card.img; done
other=$(sha256sum <b/card.img)
token=$(image_token a/card.img)
[ "$token" != "$(image_token b/card.img)" ] || fail "one token for two"
for folder in b a; do
	cd $folder || exit 1
	[ $folder = a ] && wanted=0 || wanted=2
	run $wanted "$BLKASSAY" cut card.img --erase "$token" --seconds 0.1 --seed 3 --out "$tmp/$folder.assay"
	cd ..
done
[ "$(sha256sum <b/card.img)" = "$other" ] || fail "the same line wrote to another folder's image"
# By a link it is the same image, and has its token.
ln -s a/card.img link.img
run 0 "$BLKASSAY" verify link.img --erase "$token" --sizes 64Ki --out link.assay --quiet
rm link.img link.assay a.assay
run 0 "$BLKASSAY" cut a/card.img --erase "$token" --seconds 0.1 --seed 3 --out a.assay

# Judged where it lies now; another of its name and size is no broken gadget.
mv a/card.img c/card.img
run 4 "$BLKASSAY" recheck a.assay c/card.img
says "Not shown: nothing is broken, but no promise was tested by a cut."
run 2 "$BLKASSAY" recheck a.assay b/card.img
says "it is taken for another file"
cp c/card.img c/other.img
run 2 "$BLKASSAY" recheck a.assay c/other.img
says "is not the target of this journal"
# One block that is lost is still accused.
dd if=/dev/zero of=c/card.img bs=4096 seek=3 count=1 conv=notrunc status=none
run 1 "$BLKASSAY" recheck a.assay c/card.img
says "Not safe to ship"
# In its own place, nothing left of it is a verdict too.
mv b/card.img a/card.img
run 1 "$BLKASSAY" recheck a.assay a/card.img
says "Not safe to ship"

# Renamed in mid-run, with another file in its place: that one is left alone, the renamed one gets its own data back, and the
# run says where it is.
head -c 1M /dev/urandom >a/card.img
own=$(sha256sum <a/card.img)
"$BLKASSAY" verify a/card.img --keep-data --generations 400 --out m.assay >"$out" 2>"$err" &
pid=$!
tries=0
until [ "$(sha256sum <a/card.img)" != "$own" ]; do
	[ $((tries += 1)) -lt 1500 ] || fail "the run does not begin to write"
	sleep 0.02
done
mv a/card.img b/renamed.img
head -c 1M /dev/urandom >a/card.img
other=$(sha256sum <a/card.img)
status=0
wait $pid || status=$?
[ $status = 3 ] || fail "exit status $status, not 3"
says "'a/card.img' no longer names the file it named when this run began"
says "it is now $(pwd -P)/b/renamed.img"
[ "$(sha256sum <a/card.img)" = "$other" ] || fail "the file that was put there was written"
[ "$(sha256sum <b/renamed.img)" = "$own" ] || fail "the renamed image did not get its data back"
