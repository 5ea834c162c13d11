# What limits a gadget is told from the time of each byte and of each request, not from the rate at one size; and not here from
# phases, which explain_phases.sh looks at. Each gadget here was once explained wrongly; the rates in the comments are arithmetic on the model.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

# gadget NAME LINK-LINES CARD-LINES FIRMWARE-LINES [CLAIM-LINES]: lines end in ';'
gadget() {
	{
		printf 'gadget-model 1\ndevice:\n name = %s\n capacity = 16Mi\nlink:\n' "$1"
		echo "$2" | tr ';' '\n'
		echo "card:"
		echo "$3" | tr ';' '\n'
		echo "firmware:"
		echo "$4" | tr ';' '\n'
		echo "claims:"
		echo "${5:-caching page = no}" | tr ';' '\n'
	} >"$1.model"
}
# explains NAME SWEEP-OPTIONS -- EXPLAIN-OPTIONS
explains() {
	name=$1
	shift
	swept=
	while [ "$1" != -- ]; do
		swept="$swept $1"
		shift
	done
	shift
	# shellcheck disable=SC2086
	run 0 "$BLKASSAY" sweep "model:$name.model" --order sequential --sizes 512..64Ki --seconds 1 --passes 3 --seed 1 --no-phases \
		$swept --out "$name.assay"
	run 0 "$BLKASSAY" explain "$name.assay" "$@"
	rm "$name.assay"
}

# Overlapped, and 2 ms of work for each request: 2 ms + 0.2 ms + 4.1 ms.
gadget work "rate = 1 MB/s; request cost = 2 ms" "read rate = 2.5 MB/s; write rate = 1.5 MB/s" "unit = request; transfer = overlapped"
explains work --direction read -- --link 1MB/s --card-read 2.5MB/s
tells "What limits reads: work per request (firmware or card) or the host's pause between requests, 32 % of a 4 KiB read, if the link really carries 1.00 MB/s; these"
tells "Without that 4 KiB reads would reach 952 kB/s (now 650 kB/s)."
tells "sweep with --in-flight 2"
says_not "taking turns"
explains work --direction read --in-flight 2 -- --link 1MB/s --card-read 2.5MB/s
tells "What limits reads with 2 in flight: 2.00 ms of work per request (firmware or card), 32 % of a 4 KiB read"

# The same time, but the host's: gone with two in flight, where the link is what is left.
gadget gap "rate = 1 MB/s; host gap = 2 ms" "read rate = 2.5 MB/s; write rate = 1.5 MB/s" "unit = request; transfer = overlapped"
explains gap --direction read -- --link 1MB/s --card-read 2.5MB/s
tells "or the host's pause between requests"
explains gap --direction read --in-flight 2 -- --link 1MB/s --card-read 2.5MB/s
tells "What limits reads with 2 in flight: the link,"

# Writes behind a buffer, one sector at a time to the card: 512 us + 870 us a sector.
gadget behind "rate = 1 MB/s" "read rate = 1.7 MB/s; write rate = 1 MB/s; write command cost = 0.87 ms" \
	"unit = sector; write behind = 64Ki" "write cache = yes"
explains behind --direction write -- --link 1MB/s --card-write 1MB/s
tells "What limits writes: 871 us of work per sector,"
says_not "taking turns"

# One after the other, 0.1 ms for each sector: 0.8 of 7.3 ms. Not the first thing to mend, and not left out.
gadget sector "rate = 1 MB/s" "read rate = 1.7 MB/s; write rate = 1 MB/s; read command cost = 0.1 ms" "unit = sector"
explains sector --direction read -- --link 1MB/s --card-read 1.7MB/s
tells "link and card taking turns,"
tells "After that comes work per sector, 11 %."

# Overlapped, 0.88 ms of work for each sector beside the card's 0.51: 11.7 ms for 4 KiB, 4.6 without it, or 8.7 should link
# and card take turns, which these times can't tell.
gadget both "rate = 1 MB/s" "read rate = 1 MB/s; write rate = 1 MB/s; read sector cost = 0.88 ms" \
	"unit = request; transfer = overlapped"
explains both --direction read -- --link 1MB/s --card-read 1MB/s
tells "of work per sector, 25 to 60 % of a 4 KiB read, if the link really carries 1.00 MB/s and the card reads 1.00 MB/s."
tells "Without it 4 KiB reads would reach 471 kB/s to 889 kB/s (now 352 kB/s)."
tells "Possibly also: link and card taking turns"

# In turn, and 2 ms a request: 2 + 4.1 + 2.4 ms.
gadget turn "rate = 1 MB/s; request cost = 2 ms" "read rate = 1.7 MB/s; write rate = 1 MB/s" "unit = request"
explains turn --direction read -- --link 1MB/s --card-read 1.7MB/s
tells "What limits reads: link and card taking turns, 25 % of a 4 KiB read, if the link really carries 1.00 MB/s and the card reads 1.70 MB/s."
tells "Without it 4 KiB reads would reach 640 kB/s (now 482 kB/s)."
tells "After that comes work per request (firmware or card) or the host's pause between requests, 24 %."

# A host that serves one phase a frame of 1 ms, and a card.
gadget frames "speed = full; frames = yes" "read rate = 5 MB/s; write rate = 5 MB/s" "unit = request; transfer = overlapped"
explains frames --direction read -- --card-read 5MB/s
tells "What limits reads: waiting for frames of the bus,"

# A card that programs 16 KiB at once: 4 KiB take its 16.4 ms.
gadget unit "rate = 1 MB/s" "read rate = 1.7 MB/s; write rate = 1 MB/s; write unit = 16Ki" "unit = request"
explains unit --direction write -- --link 1MB/s --card-write 1MB/s
tells "What limits writes: work in whole units for less (card or firmware), 60 % of a 4 KiB write"
tells "Requests take what whole units of 16 KiB do: the card programs so much at once, or the firmware works in buffers of that size."
says_not "do not describe"

# Stalls are not the firmware's work: 300 ms every 256 KiB.
gadget stalls "rate = 1 MB/s" "read rate = 1.7 MB/s; write rate = 2 MB/s; stall every = 256Ki; stall time = 300 ms" \
	"unit = request; transfer = overlapped"
explains stalls --direction write -- --link 1MB/s --card-write 2MB/s
tells "What limits writes: stalls, 5"
tells "not the firmware's work"

# A buffer of which the card takes nothing before it is full: then link and card wait for one another, 2.05 and 4.10 ms for 4 KiB,
# and faster ones are not what is called for.
gadget idle "rate = 2 MB/s" "read rate = 10 MB/s; write rate = 1 MB/s" \
	"unit = request; transfer = overlapped; write behind = 64Ki; drain = on-flush" "caching page = yes; write cache = yes"
explains idle --direction write -- --link 2MB/s --card-write 1MB/s
tells "What limits writes: link and card taking turns, 29 % of a 4 KiB write, if the link really carries 2.00 MB/s and the card writes 1.00 MB/s."
says_not "too close"

# Rates that the figures contradict: 1 MB/s through a link said to carry 0.5.
explains work --direction read -- --link 0.5MB/s --card-read 2.5MB/s
tells "What limits reads: not shown"
tells "more than the link's 500 kB/s: --link is too low"

# The three builds of the tour: not the same paragraph, and none that the rate hardly grows.
for build in a b c; do
	run 0 "$BLKASSAY" sweep "model:$here/../../scripts/models/buoy-$build.model" --direction write --order sequential \
		--sizes 512..64Ki --seconds 1 --passes 3 --seed 1 --out $build.assay
	run 0 "$BLKASSAY" explain $build.assay --link 1MB/s --card-write 1MB/s
	grep -q "^What limits writes" "$out" || fail "build $build gets no verdict"
	sed -n '/^What limits/,/^$/p' "$out" >$build.said
done
grep -q "work per sector" a.said || fail "build a hands on one sector at a time"
grep -q "taking turns" b.said || fail "build b takes turns"
grep -q "work per sector" b.said && fail "build b does not hand on single sectors"

# Four tables that come to the same are told in one sentence a direction, and what to do in one.
run 0 "$BLKASSAY" sweep "model:$here/../../scripts/models/buoy-b.model" --direction read,write --sizes 512..64Ki --seconds 1 \
	--passes 4 --seed 1 --out four.assay
run 0 "$BLKASSAY" explain four.assay --link 1MB/s --card-read 1.7MB/s --card-write 1MB/s
[ "$(grep -c "What limits" "$out")" = 2 ] || fail "two directions need two sentences"
[ "$(grep -c "Next: let" "$out")" = 1 ] || fail "what to do is told once"
tells "What limits writes: link and card taking turns, 39 % of a 4 KiB write, if the link really carries 1.00 MB/s and the card writes 1.00 MB/s."
run 0 "$BLKASSAY" explain four.assay --link 1MB/s --card-read 1.7MB/s --card-write 1MB/s --brief
[ "$(tr '\n' ' ' <"$out" | grep -c "now 442 kB/s")" = 1 ] || fail "--brief gives the verdict"
[ "$(wc -l <"$out")" -le 6 ] || fail "--brief gives more than the verdict"
exit 0
