# The audit on real SCSI: the kernel's own mass storage gadget, and a stick on a full-speed bus. The claims are read as
# configfs and sysfs have them, nothing honest is called broken, and a gadget with a lie in its size is none of ours.
truncate -s 8M card.img
gadget_plug $work/card.img
token "$gadget"
run 0 blkassay audit "$gadget" --erase "$token" --seed 5 --out gadget.run --with-eject
cat $out | sed -n '/^kept\|^not shown\|^broken/,$p' | head -120
says "kept       kernel-view"
says "kept       stored"
says "kept       past-end"
is "the kernel's view" "$(cat /sys/block/${gadget#/dev/}/queue/write_cache)" "write back"
says "device: write back"
run 0 blkassay report gadget.run
says "No broken promise found"
gadget_remove

stick
token "$stick"
run 0 blkassay audit "$stick" --erase "$token" --seed 6 --region 0+2Mi --out stick.run
sed -n '/^kept\|^not shown\|^broken/,$p' $out | head -120
says "kept       stored"
says "reads only"
