# What watching costs: sweeps with and without phases in turn, 20 pairs a size, on a gadget of the rig; the median of their
# ratios is noted, and held against the goal. By the steady clock, whose host does 250 million instructions a second: on any
# machine of today the share is smaller.
# Gadgets that keep up with their link, to 64 KiB, and the tour's, which are slower.
# Time limit: 3000 s
modprobe usbmon || fail "no usbmon"
gadget_model() { # NAME SPEED RATE
	printf 'gadget-model 1\ndevice:\nname = %s\ncapacity = 8Mi\nserial = COST-0001\nlink:\nspeed = %s\nrate = %s\n' "$1" "$2" "$3"
	printf 'card:\nread rate = unlimited\nwrite rate = unlimited\nfirmware:\nunit = request\n'
}
rate() { # SIZE DIRECTION OPTION
	rm -f cost.assay
	run 0 blkassay sweep "$gadget" --order sequential --direction "$2" --sizes "$1" --region 0+1Mi --seconds 0.5 --passes 1 --seed 1 "$3" --out cost.assay --csv cost.csv --quiet
	rate=$(column acknowledged_bytes_per_second cost.csv)
}
pairs() { # NAME SIZE DIRECTION
	for pair in $(seq 20); do
		if [ $((pair % 2)) = 0 ]; then
			rate "$2" "$3" --phases
			with=$rate
			grep -q ' phases=seen' cost.assay || fail "no phases were seen"
			rate "$2" "$3" --no-phases
			without=$rate
		else
			rate "$2" "$3" --no-phases
			without=$rate
			rate "$2" "$3" --phases
			with=$rate
		fi
		echo "$with $without"
	done | awk '{ print $1 / $2 }' | sort -n >ratios
	is "pairs" "$(wc -l <ratios)" 20
	median=$(awk '{ v[NR] = $1 } END { printf "%.4f", (v[10] + v[11]) / 2 }' ratios)
	note "$1, ${3}s of $2: with phases / without: $median (middle half $(sed -n 6p ratios) to $(sed -n 15p ratios))"
	awk -v r="$median" 'BEGIN { exit !(r >= 0.98 && r <= 1.02) }' || missed="$missed $1,$3,$2:$median"
}
gadget_model full full "1.0 MB/s" >full.model
gadget_model high high "30 MB/s" >high.model
missed=
for name in full high; do
	model_plug $name.model
	for size in 512 4Ki 16Ki 64Ki; do pairs $name $size read; done
	model_remove
done
for name in buoy-b buoy-c buoy-d; do
	model_plug $name
	pairs $name 4Ki read
	model_remove
done
is "sizes whose rate with phases is not 0.98 to 1.02 of that without" "$missed" ""
