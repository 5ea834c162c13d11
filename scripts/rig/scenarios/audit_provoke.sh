# The medium goes away under a running audit that waits for it: the failure is seen, what was flushed before is there
# when the medium is back, and the audit goes on to its end. Asked for are that line and one other, for the whole audit takes
# minutes here (audit_gadget).
# Time limit: 900 s
truncate -s 512K card.img
gadget_plug $work/card.img
token "$gadget"
start blkassay audit "$gadget" --erase "$token" --seed 5 --out gadget.assay --only background-error,past-end --provoke --seconds 200 --quiet
wait_for 500 grep -q "make the card fail" $err || fail "it never asked"
gadget_swap ""
wait_for 200 grep -q "put the card back" $err || fail "it never saw the failure"
gadget_swap $work/card.img
# The kernel gadget's own fault at the end of the drive: see audit_gadget.
finish 1
# That the card is gone is what was made; it is no report of a write that failed in the background.
says "background-error: not shown"
grep -q "id=background-error.*02/3A/00" gadget.assay || fail "not the failure that was made"
says "past-end: broken"
is "the broken promises" "$(grep -c "^[a-z-]*: broken" $out)" 1
