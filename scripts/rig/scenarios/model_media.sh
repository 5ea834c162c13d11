# Media and mishaps on a real bus: blocks that cannot be read or written, commands that time out, a reset in the middle of
# every command, blocks of 4096 bytes, write protection, no card, two logical units, a device of odd size. Whatever the
# kernel can mend is mended and nothing is called damage; whatever it cannot is named to the byte, and blamed on nothing else.
# Time limit: 1500 s
seed=1
damaged() {
	awk -F, 'NR == 1 { for (i = 1; i <= NF; i++) at[$i] = i; next }
		{ print $at["class"] " " $at["offset_bytes"] "+" $at["length_bytes"] }' "$1" | tr '\n' ';'
}
plugged() { # MODEL...
	model_plug "$@"
	token "$gadget"
	all="--erase $token --seed $((seed += 1))"
}
clean() { # NAME OPTION...
	name=$1
	shift
	all="--erase $token --seed $((seed += 1))"
	run 0 blkassay verify "$gadget" $all "$@" --csv $name.csv --out $name.assay
	says "hold what"
	is "damage of $name" "$(damaged $name.csv)" ""
}

note "blocks that cannot be read"
plugged fault-unreadable
run 1 blkassay verify "$gadget" $all --region 0+2Mi --sizes 4Ki --csv unreadable.csv --out unreadable.assay
is "what is damaged" "$(damaged unreadable.csv)" "unreadable 1048576+4096;"
run 3 blkassay sweep "$gadget" --region 0+2Mi --order sequential --sizes 64Ki --seconds 3 --passes 1 --out stopped.assay
says "read of 64 KiB at byte 1048576 failed"
model_remove

note "blocks that cannot be written, and the writer is told"
sed '/write behind/d;/write cache/d;/fua/d;s/unreadable range/bad range/' /rig/models/fault-unreadable.model >unwritable.model
plugged unwritable.model
run 1 blkassay verify "$gadget" $all --region 0+2Mi --sizes 4Ki --csv unwritable.csv --out unwritable.assay
is "what is damaged" "$(damaged unwritable.csv)" "blank 1048576+4096;"
says "1 request could not be written at first, the first at byte 1048576"
model_remove

note "commands that time out, and a reset in the middle of every read and write"
plugged buoy-d
echo 1 >/sys/block/${gadget#/dev/}/device/timeout
model_tell silence 1 2A
clean timeouts --region 0+128Ki --sizes 16Ki
model_tell silence 2 28
run 0 blkassay verify "$gadget" --only read --seed $seed --region 0+128Ki --sizes 16Ki --out read.assay
is "commands never answered" "$(grep -c "end=silent" $truth)" 3
model_tell interrupt yes
clean interrupted --region 0+128Ki --sizes 16Ki
# Each of 8 writes and 8 reads, whatever else the kernel and the tool read meanwhile.
is "requests that were ended in the middle" "$(sed -n 's/^command .* opcode=\(2[8A]\) lba=\([0-9]*\) .* length=16384 .* end=given-up .*/\1 \2/p' $truth |
	awk '$2 < 256 && $2 % 32 == 0' | sort -u | wc -l)" 16
model_tell interrupt no
model_remove

note "blocks of 4096 bytes"
sed 's/capacity = 32Mi/&\n    block = 4096/' /rig/models/buoy-d.model >wide.model
plugged wide.model
is "its block" "$(field "$gadget" logical_block_bytes)" 4096
clean wide --region 0+256Ki
run 2 blkassay sweep "$gadget" --sizes 512,4Ki --seconds 1 --passes 1 --out wide-sweep.assay
says "not a multiple of the target's block of 4096 bytes"
model_remove

note "write protected"
sed 's/fua = yes/&\n    write protected = yes/' /rig/models/buoy-d.model >protected.model
plugged protected.model
is "may it be written" "$(field "$gadget" may_write)" false
run 2 blkassay verify "$gadget" $all --region 0+256Ki --out protected.assay
says "is read-only"
run 0 blkassay sweep "$gadget" --region 0+1Mi --order sequential --sizes 64Ki --seconds 1 --passes 1 --out protected.assay
is "writes that reached it" "$(grep -c "opcode=2A" $truth)" 0
model_remove

note "no card, then one"
model_start -e buoy-d
wait_for 60 sh -c 'grep -q . /sys/block/sd*/device/model && ls /sys/block | grep -q sdb' || fail "no drive"
run 3 blkassay sweep /dev/sdb --region 0+1Mi --sizes 4Ki --seconds 1 --passes 1 --out none.assay
says "No medium found; insert the card"
model_tell card in
model_node
token "$gadget"
all="--erase $token --seed $((seed += 1))"
clean inserted --region 0+128Ki
model_remove

note "two logical units: alike, they cannot be told apart; of two sizes, only the one that was named is written"
plugged buoy-d buoy-b
run 2 blkassay verify "$gadget" $all --region 0+64Ki --out twins.assay
says "have the same token"
model_remove
sed 's/capacity = 32Mi/capacity = 16Mi/' /rig/models/buoy-d.model >small.model
model_plug -c first.img buoy-d -c second.img small.model
first=$gadget
model_node 1
second=$gadget
is "the second unit's size" "$(blockdev --getsize64 "$second")" 16777216
token "$second"
all="--erase $token --seed $((seed += 1))"
clean second --region 0+128Ki
run 0 blkassay verify "$second" --only read --seed $seed --region 0+128Ki --out again.assay
is "writes to the first unit" "$(grep -c "lun=0 opcode=2A" $truth)" 0
[ -z "$(tr -d '\000' <first.img | head -c 1)" ] || fail "the first card was written"
gadget=$first
model_remove

note "an odd number of blocks, to the last one"
sed 's/capacity = 32Mi/capacity = 1049088/' /rig/models/buoy-d.model >odd.model
plugged odd.model
is "its blocks" "$(cat /sys/block/${gadget#/dev/}/size)" 2049
clean odd
model_remove
