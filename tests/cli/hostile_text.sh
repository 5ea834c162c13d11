# Text of strangers (labels, names of files and folders, model files, words of the command line, records) never reaches a
# terminal, a page or a table of figures as anything but plain characters.
. "$(dirname "$0")/lib.sh"
LC_ALL=C.UTF-8
export LC_ALL
models=$here/../../scripts/models
cd "$tmp" || exit 1
# Right-to-left override, zero-width space, isolate, tag, soft hyphen, word joiner, C1 CSI, escape, bell, broken UTF-8, and a
# line that would pass for one of ours.
bad=$(printf 'x\342\200\256\342\200\213\342\201\246\363\240\201\201\302\255\342\201\240\302\233\033[2J\007\377\342\200y')
forged=$(printf '%s\nKEPT: all is well' "$bad")

# plain FILE...: nothing but printable characters and line ends; no line of a stranger's.
plain() {
	for file; do
		perl -CS -e 'local $/; open my $f, "<:raw", $ARGV[0] or die; $_ = <$f>;
			utf8::decode($_) or die "not UTF-8\n";
			s/\r\n/\n/g;
			/([^\n\x20-\x7e\x{a1}-\x{10ffff}]|[\p{Cf}\p{Zl}\p{Zp}\p{Default_Ignorable_Code_Point}])/ and
				die sprintf "U+%04X after: %s\n", ord $1, substr $`, -40;
			/^KEPT: all is well/m and die "a forged line\n";' "$file" 2>"$tmp/why" ||
			fail "$file of '$doing': $(cat "$tmp/why")"
	done
}
# any COMMAND...: whatever its status, its words are plain.
any() {
	doing="$*"
	status=0
	"$@" >"$out" 2>"$err" </dev/null || status=$?
	[ $status -lt 126 ] || [ $status = 130 ] || fail "'$*' exited with $status"
	plain "$out" "$err"
}

# Words of the command line.
for word in "$bad" "$forged"; do
	any "$BLKASSAY" "$word"
	any "$BLKASSAY" help "$word"
	any "$BLKASSAY" help --completion "$word"
	any "$BLKASSAY" sweep "--$word"
	any "$BLKASSAY" sweep "--$word=1" card.img
	any "$BLKASSAY" sweep "$word"
	any "$BLKASSAY" sweep a "$word"
	for option in direction order sizes in-flight seconds passes region seed erase create out csv; do
		any "$BLKASSAY" sweep card.img --$option "$word"
	done
	any "$BLKASSAY" observe "$word"
	any "$BLKASSAY" report "$word"
	any "$BLKASSAY" explain "$word" --card-bus "$word"
	any "$BLKASSAY" explain "$word" --card-read "$word"
	any "$BLKASSAY" compare "$word" --against "$word"
	any "$BLKASSAY" restore "$word" "$word"
	any "$BLKASSAY" recheck "$word" "$word"
	any "$BLKASSAY" sweep "model:$word"
	printf '%s = 1\n%s\n' "$word" "$word" >bad.model
	any "$BLKASSAY" sweep model:bad.model
	printf 'name = %s\nlink = %s\n' "$word" "$word" >bad.model
	any "$BLKASSAY" sweep model:bad.model
done

# Labels, file names, the command line in the record; models named by strangers.
mkdir "$bad"
cp "$models/buoy-d.model" "$bad/$bad.model"
for key in name vendor product serial; do # a model's own words are ASCII
	sed "s/    $key = .*/    $key = $bad/" "$models/buoy-d.model" >bad.model
	any "$BLKASSAY" sweep model:bad.model
	[ $status = 2 ] || fail "a hostile $key passes"
done
model="model:$bad/$bad.model"
any "$BLKASSAY" sweep "$model" --sizes 4Ki..64Ki --passes 3 --seconds 0.1 --label "$forged" --out "$bad/a.assay"
[ $status = 0 ] || fail "no sweep"
any "$BLKASSAY" sweep "$model" --sizes 4Ki..64Ki --passes 3 --seconds 0.1 --label "=$bad" --out "$bad/b.assay"
any "$BLKASSAY" verify "$model" --region 0+256Ki --label "$forged" --out "$bad/v.assay"
any "$BLKASSAY" verify "$model" --region 0+256Ki --out "$forged"
[ $status = 0 ] || fail "no record with a line end in its name"
any "$BLKASSAY" report "$forged"
any "$BLKASSAY" verify "model:$models/fault-slips.model" --region 0+256Ki --label "$forged" --out "$bad/w.assay"
any "$BLKASSAY" audit "$model" --label "$forged" --out "$bad/u.assay"
any "$BLKASSAY" cut "$model" --cycles 2 --seconds 1 --region 0+1Mi --label "$forged" --out "$bad/c.assay"
any "$BLKASSAY" verify "$bad/$bad.img" --create 1Mi --label "$forged" --out "$bad/i.assay"
[ $status = 0 ] || fail "no verify of the image"
any "$BLKASSAY" verify "$bad/$bad.img" --keep-data --seed 7 --out "$bad/k.assay"
any "$BLKASSAY" sweep "$bad/$bad.img" --direction write --seconds 0.01
token=$(sed -n 's/.*--erase TOKEN (\([^)]*\)).*/\1/p' "$err")
any "$BLKASSAY" cut "$bad/$bad.img" --erase "$token" --seconds 0.1 --out "$bad/j.assay"
any "$BLKASSAY" recheck "$bad/j.assay" "$bad/$bad.img"
for record in a b v w u c i k j; do
	any "$BLKASSAY" report "$bad/$record.assay"
	[ $status = 0 ] || fail "report of $record exited with $status"
	any "$BLKASSAY" report "$bad/$record.assay" --csv -
	any "$BLKASSAY" report "$bad/$record.assay" --page -
	doing="the record $record itself"
	plain "$bad/$record.assay"
done
any "$BLKASSAY" explain "$bad/a.assay" --copy 50MB
any "$BLKASSAY" compare "$bad/a.assay" --against "$bad/b.assay"
[ $status = 0 ] || fail "no comparison"
any "$BLKASSAY" compare "$bad/a.assay" --against "$bad/b.assay" --csv -
any "$BLKASSAY" compare "$bad/a.assay" --against "$bad/b.assay" --page -
any "$BLKASSAY" verify --resume "$bad/i.assay" "$bad/$bad.img"
if [ "$(id -u)" = 0 ] && [ -e /dev/loop-control ]; then
	attach "$bad/$bad.img"
	any "$BLKASSAY" sweep "$device" --seconds 0.01 --passes 1
	mkdir "$forged.d"
	mkfs.ext4 -q -F "$device" && mount "$device" "$forged.d" || skip "cannot make and mount a filesystem here"
	cleanup "umount '$forged.d' 2>/dev/null"
	any "$BLKASSAY" sweep "$device" --erase "$(token_of "$device")" --direction write --seconds 0.01
	[ $status = 2 ] || fail "a mounted device is written to"
fi
any "$BLKASSAY" targets
any "$BLKASSAY" targets --csv -
