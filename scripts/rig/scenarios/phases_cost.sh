# What watching costs: sweeps with and without phases in turn, 20 pairs a line, on a gadget of the rig; the median of their
# ratios is noted, and held against the goal. By the steady clock, whose host does 250 million instructions a second: on any
# machine of today the share is smaller.
# Gadgets that keep up with their link, to 64 KiB, and the tour's, which are slower. The emulated bus hands out turns by a timer,
# so a few microseconds cost a request a whole turn or none at all, by chance of the link's rate: the 20 pairs are of 20 rates.
# Time limit: 3600 s
modprobe usbmon || fail "no usbmon"
gadget_model() { # NAME SPEED RATE
	printf 'gadget-model 1\ndevice:\nname = %s\ncapacity = 8Mi\nserial = COST-0001\nlink:\nspeed = %s\nrate = %s\n' "$1" "$2" "$3"
	printf 'card:\nread rate = unlimited\nwrite rate = unlimited\nfirmware:\nunit = request\n'
}
rate() { # SIZE DIRECTION SECONDS OPTION
	rm -f cost.assay
	run 0 blkassay sweep "$gadget" --order sequential --direction "$2" --sizes "$1" --region 0+1Mi --seconds "$3" --passes 1 --seed 1 "$4" \
		$erase --out cost.assay --csv cost.csv --quiet
	rate=$(column acknowledged_bytes_per_second cost.csv)
}
pair() { # NUMBER SIZE DIRECTION SECONDS: appends "WITH WITHOUT" to pairs.LINE
	erase=
	[ "$3" = read ] || { token "$gadget"; erase="--erase $token"; }
	if [ $(($1 % 2)) = 0 ]; then
		rate "$2" "$3" "$4" --phases
		with=$rate
		grep -q ' phases=seen' cost.assay || fail "no phases were seen"
		rate "$2" "$3" "$4" --no-phases
		without=$rate
	else
		rate "$2" "$3" "$4" --no-phases
		without=$rate
		rate "$2" "$3" "$4" --phases
		with=$rate
	fi
	echo "$with $without" >>"pairs.$2.$3.$4"
}
sum_up() { # NAME: notes and clears what was measured
	for line in pairs.*; do
		awk '{ print $1 / $2 }' "$line" | sort -n >ratios
		is "pairs" "$(wc -l <ratios)" 20
		median=$(awk '{ v[NR] = $1 } END { printf "%.4f", (v[10] + v[11]) / 2 }' ratios)
		note "$1, ${line#pairs.}: with phases / without: $median (middle half $(sed -n 6p ratios) to $(sed -n 15p ratios), all $(sed -n 1p ratios) to $(sed -n 20p ratios))"
		awk -v r="$median" 'BEGIN { exit !(r >= 0.98 && r <= 1.02) }' || missed="$missed $1,${line#pairs.}:$median"
		rm "$line"
	done
}
missed=
rm -f pairs.*
series() { # SPEED FIRST STEP (kB/s): a gadget of each of 20 rates
	for number in $(seq 20); do
		gadget_model "$1" "$1" "$(($2 + number * $3)) kB/s" >cost.model
		model_plug cost.model
		for size in 512 4Ki 16Ki 64Ki; do pair "$number" $size read 0.5; done
		for size in 512 4Ki; do pair "$number" $size write 0.5; done
		pair "$number" 4Ki read 2
		model_remove
	done
	sum_up "$1"
}
# Full speed carries 1.216 MB/s at most (USB 2.0 table 5-9), high speed 53.248 MB/s (table 5-10).
series full 700 25
series high 21000 1000
for name in buoy-b buoy-c buoy-d; do
	model_plug $name
	for number in $(seq 20); do pair "$number" 4Ki read 0.5; done
	model_remove
	sum_up $name
done
is "lines whose rate with phases is not 0.98 to 1.02 of that without" "$missed" ""
