# What phases add to an explanation: designs of known truth, each with the part of a request that takes its time, and what is
# not to be said of it.
. "$(dirname "$0")/lib.sh"
cd "$tmp" || exit 1

design() { # NAME CARD-RATE HOST-GAP FIRMWARE-LINE...: the model NAME.model, link 1 MB/s
	name=$1 card=$2 gap=$3
	shift 3
	{
		printf 'gadget-model 1\ndevice:\nname = t\ncapacity = 1Mi\nlink:\nspeed = full\nrate = 1 MB/s\nrequest cost = 0.2 ms\n'
		printf 'host gap = %s\ncard:\nread rate = %s\nwrite rate = %s\nfirmware:\nunit = request\n' "$gap" "$card" "$card"
		printf '%s\n' "$@"
	} >"$name.model"
	run 0 "$BLKASSAY" sweep "model:$name.model" --direction read,write --order sequential --sizes 1Ki..32Ki --passes 5 \
		--seconds 0.5 --seed 1 --out "$name.assay"
}
# parts DIRECTION: the parts that findings name, by JSON.
parts() {
	python3 -c 'import json, sys
print(" ".join(f["part"] for f in json.load(open("x.json"))["findings"] if f["code"] == "phases" and f["direction"] == sys.argv[1]))' "$1"
}
explained() { # NAME READ-PARTS WRITE-PARTS OPTION...
	name=$1 reads=$2 writes=$3
	shift 3
	run 0 "$BLKASSAY" explain "$name.assay" --link 1MB/s "$@" --json x.json
	[ "$(parts read)" = "$reads" ] || fail "$name: reads show '$(parts read)', not '$reads'"
	[ "$(parts write)" = "$writes" ] || fail "$name: writes show '$(parts write)', not '$writes'"
	run 0 "$BLKASSAY" explain "$name.assay" --link 1MB/s "$@"
}
command -v python3 >/dev/null || skip "needs python3"

# In turn: 4.096 ms of fetching or storing for 4 KiB beside as much on the link.
design in-turn "1 MB/s" "0.1 ms"
explained in-turn fetch store
tells "512 us for each 512 B. If it starts on that only then, doing it while data move would save up to 4.10 ms"
explained in-turn fetch store --card-read 1MB/s --card-write 1MB/s
tells "would save up to 4.10 ms, at most"
tells "it is as long as the card's own work, which speaks for it"
# Against the card's rate: it is the card; a quicker card leaves the rest to the firmware, and a slower one has begun before.
says_code() { grep -q "\"code\":\"$1\"" x.json || fail "no finding $1"; }
no_code() { ! grep -q "\"code\":\"$1\"" x.json || fail "finding $1"; }
tells "sequential writes take 512 us of work for each 512 B beside the link; a card of 1.00 MB/s needs 512 us: the two agree"
says_code phases-card
no_code phases-against-card
explained in-turn fetch store --card-read 4MB/s --card-write 4MB/s
tells "a card of 4.00 MB/s needs 128 us. The other 384 us are work of the firmware for each sector or byte"
says_code phases-against-card
no_code phases-card
explained in-turn fetch store --card-read 0.6MB/s --card-write 0.6MB/s
tells "a card of 600 kB/s needs 853 us: if that is right, the other 341 us pass while the data are on the link"
no_code phases-against-card
explained in-turn fetch store
no_code phases-card
# Overlapped, with a card of half that rate: the card alone sets the pace, and nothing is to gain.
design overlapped "0.5 MB/s" "0.1 ms" "transfer = overlapped" "chunk = 512"
explained overlapped fetch refuse --card-read 0.5MB/s --card-write 0.5MB/s
says_not "would save"
# What stalls add is in the phases, and no overlap saves it; nor is it held against the card's rate.
design stalling "1 MB/s" "0.1 ms"
sed 's/^firmware:/stall every = 64Ki\nstall time = 100 ms\n&/' stalling.model >stalls.model
grep -q 'stall time' stalls.model || fail "no stalls in the model"
run 0 "$BLKASSAY" sweep model:stalls.model --direction write --order sequential --sizes 1Ki..32Ki --passes 5 --seconds 2 --seed 1 --out stalls.assay
run 0 "$BLKASSAY" explain stalls.assay --link 1MB/s --card-write 1MB/s --json x.json
run 0 "$BLKASSAY" explain stalls.assay --link 1MB/s --card-write 1MB/s
tells "Stalls are in these times."
says_not "would save up to"
no_code phases-against-card
no_code phases-card
# The host's pause.
design pause "8 MB/s" "8 ms" "transfer = overlapped" "chunk = 512"
explained pause host host
# By the rates a pause of the host and a cost of the gadget look alike; the phases tell.
limits() { # DIRECTION: the codes of what limits
	python3 -c 'import json, sys
print([ "+".join(t["culprits"]) for t in json.load(open("x.json"))["tables"] if t["direction"] == sys.argv[1]][0])' "$1"
}
[ "$(limits read)" = host-gap ] || fail "pause: reads are limited by '$(limits read)'"
tells "rests on their phases too"
# In both orders alike: read once, with the figures of each for programs.
run 0 "$BLKASSAY" sweep model:pause.model --direction read --sizes 1Ki..32Ki --passes 5 --seconds 0.5 --seed 1 --out both.assay
run 0 "$BLKASSAY" explain both.assay --link 1MB/s
tells "What limits sequential and random reads rests on their phases too"
[ "$(tr -s ' \n' '  ' <"$out" | grep -o "rests on their phases too" | wc -l)" = 1 ] || fail "the same is told of both orders"
run 0 "$BLKASSAY" explain both.assay --link 1MB/s --json both.json
python3 -c 'import json
found = [f["order"] for f in json.load(open("both.json"))["findings"] if "phases too" in f["sentence"]]
assert sorted(found) == ["random", "sequential"], found' || fail "programs do not get it of both orders"
run 0 "$BLKASSAY" sweep model:pause.model --direction read --order sequential --sizes 1Ki..32Ki --passes 5 --seconds 0.5 --seed 1 \
	--no-phases --out blind.assay
run 0 "$BLKASSAY" explain blind.assay --link 1MB/s --json x.json
case $(limits read) in
*request-cost*) ;;
*) fail "without phases a cost of the gadget is ruled out: '$(limits read)'" ;;
esac

# The link alone.
design link "unlimited" "0.1 ms"
explained link link link
# A cost of the request, before data: in the data phase, whatever the size.
design cost "unlimited" "0.1 ms" "request cost = 4 ms"
explained cost fetch refuse
[ "$(limits read)" = request-cost ] || fail "cost: reads are limited by '$(limits read)'"
tells "whatever the size"
# A full buffer: writes are refused, reads fetch.
design full "0.25 MB/s" "0.1 ms" "write behind = 1Ki"
explained full fetch refuse
