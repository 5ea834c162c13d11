# Not a test: makes what results/full-speed-stick shows; scripts/rig/example runs it and puts the files there.
# Time limit: 900 s
stick
token "$stick"
made=$results/made
mkdir -p $made
cd $made || exit 1
run 0 blkassay sweep "$stick" --erase "$token" --direction read,write --order sequential --sizes 512..128Ki --phases \
	--seconds 1.5 --passes 5 --seed 2 --label "stick rev 3" --out sweep.assay --quiet
run 0 blkassay report sweep.assay
cp $out summary.txt
run 0 blkassay report sweep.assay --csv sweep.csv
run 0 blkassay report sweep.assay --page sweep.html
run 0 blkassay explain sweep.assay --copy 50MB
cp $out explain.txt

# A copy onto it, and what the sweep says of it.
run 0 mkdosfs "$stick"
mkdir -p /mnt/stick
head -c 2097152 /dev/urandom >$work/photo
start blkassay observe "$stick" --out copy.assay --quiet
wait_for 60 grep -q ' second ' copy.assay || fail "observe does not observe"
mount -t vfat "$stick" /mnt/stick || fail "cannot mount it"
cp $work/photo /mnt/stick/photo && sync
umount /mnt/stick
kill -INT $child
finish 0
run 0 blkassay explain sweep.assay --as copy.assay
sed -n '/^As observed/,$p' $out >explain-copy.txt
note "$(tail -n 3 explain-copy.txt)"
