"""A working life aboard, as commands: two visits, three swaps, and the slips on the way.

A line that begins with $ is typed. The line with = has its exit code, and words of its answer. A
line with > continues the line before it.
"""

from __future__ import annotations

FIRST_VISIT = """
$ catalogue
= 2 There is no vault here
$ inspect PORT1.HEX PORT2.HEX
= 0 PORT2.HEX holds the same bytes as PORT1.HEX
$ layout check thruster.toml
= 0 No mistakes
$ visit open tern --by 'A. Fitter' --reader 'bench 2' --new-vessel
= 0 Visit to tern (a new vessel) is open since 2026-03-02
$ unit add tern/port-thruster --maker-type TC-2 --serial 417
= 0 new unit port-thruster
$ unit add tern/stbd-thruster --maker-type TC-2 --serial 418
= 0 new unit stbd-thruster
$ unit add tern/Port-Thruster
= 2 add-on-record
$ position add tern/port-thruster/U12 --chip AT28C16-15
= 0 AT28C16-15 is taken as 28C16, 2048 bytes
$ archive PORT1.HEX --unit port-thruster --position U12 --layout thruster.toml
= 0 NOT VERIFIED yet
$ archive PORT1.HEX --unit port-thruster --position U12
= 0 0 reads put on record
$ catalogue tern/port-thruster/U12
= 0 NOT VERIFIED
$ archive PORT2.HEX --unit port-thruster --position U12
= 0 VERIFIED: separate reads agree
$ archive STBD1.HEX STBD2.HEX --unit port-thruster --position U12
= 2 position-far
$ archive STBD1.HEX STBD2.HEX --unit stbd-thruster --position U12 --layout thruster.toml --chip
> 28C16
= 0 VERIFIED: separate reads agree
$ inspect MANUAL.BIN
= 2 dump-other-file
$ inspect PORT1.HEX STBD1.HEX
= 0 STBD1.HEX
$ inspect CRANE1.S19 --chip 28C64B
= 0 8192 bytes
$ inspect PORT1.HEX --format s-record
= 2 dump-format-differs
$ inspect WINCH1.BIN --chip 24LC02B
= 0 256 bytes
$ layout map thruster.toml
= 0 of 2048 bytes
$ decode PORT1.HEX --layout thruster.toml
= 0 12.5 s
$ diff PORT1.HEX PORT2.HEX
= 0 no byte differs
$ diff PORT1.HEX STBD1.HEX --layout thruster.toml
= 1 ramp_up_time
$ export tern/port-thruster/U12 --as s-record --out P.S19
= 0 read back as the same image
$ inspect P.S19 PORT1.HEX
= 0 PORT1.HEX holds the same bytes as P.S19
$ export tern/port-thruster/U12 --as intel-hex --out P.S19
= 2 do next
$ export tern/port-thruster/U12 --as raw --out P.BIN
= 0 read back as the same image
$ diff tern/port-thruster/U12 P.BIN
= 0 no byte differs
$ visit open tern --by 'A. Fitter'
= 2 do next
$ archive MANUAL.BIN --unit winch --position U3
= 2 this is no dump
$ archive WINCH1.BIN WINCH2.BIN --unit winch --position U3 --chip 24LC02B
= 0 VERIFIED AS READ
$ archive CRANE1.S19 CRANE2.S19 --unit crane --position U5 --chip 28C64B
= 0 VERIFIED AS READ
$ undo --by 'A. Fitter' --reason 'the label is U6'
= 0 Left at tern/crane/U5: nothing
$ catalogue tern/crane/U5
= 2 where-unit
$ archive CRANE1.S19 CRANE2.S19 --unit crane --position U6 --chip 28C64B
= 0 2 reads put on record
$ correct tern/crane/U6@latest --position tern/crane/U5 --by 'A. Fitter' --reason 'the label is
> U5'
= 0 Left at tern/crane/U6: nothing
$ history tern/crane/U5
= 0 2026-03-02 1528ea24 2 A. Fitter
$ archive WINCH3.BIN --unit crane --position U5
= 2 raw-size
$ visit close --remark 'all four units read'
= 0 Visit to tern of 2026-03-02 is closed; 8 reads on record
$ visit open dunlin --by 'A. Fitter' --new-vessel
= 0 Visit to dunlin (a new vessel) is open
$ archive EVEN1.BIN ODD1.BIN EVEN2.BIN ODD2.BIN --pair even-odd --unit steering --position U7
> --chip 28C32
= 2 chip-unknown
$ archive EVEN1.BIN ODD1.BIN EVEN2.BIN ODD2.BIN --pair even-odd --unit steering --position U7
> --chip 27C32
= 0 2 reads put on record
$ archive ODD3.BIN EVEN3.BIN --pair even-odd --unit steering --position U7
= 2 pair-order
$ archive BOILER1.S19 BOILER2.S19 --unit boiler --position U9 --chip 28C16
= 0 2 reads put on record
$ decode dunlin/boiler/U9
= 2 do next
$ catalogue dunlin
= 0 Verified as read: dunlin/boiler/U9, dunlin/steering/U7
$ undo --by 'X. Wrong' --reason 'by mistake'
= 0 Left at dunlin/boiler/U9: nothing
$ catalogue dunlin/boiler
= 2 where-unit
$ undo --redo --by 'A. Fitter'
= 0 1 record of kind `withdrawn`
$ catalogue dunlin/boiler
= 0 dunlin/boiler/U9 1 2026-03-02
$ undo --by 'A. Fitter'
= 0 about dunlin
$ archive BOILER1.S19 BOILER2.S19 --unit boiler --position U9 --chip 28C16 --by 'X. Wrong'
= 0 2 reads put on record
$ history dunlin/boiler/U9
= 0 X. Wrong
$ undo --by 'A. Fitter' --reason 'another person read it'
= 0 Left at dunlin/boiler/U9: nothing
$ archive BOILER1.S19 BOILER2.S19 --unit boiler --position U9 --chip 28C16
= 0 2 reads put on record
$ history dunlin/boiler/U9
= 0 2026-03-02 7773ce89 2 A. Fitter
$ history dunlin/boiler/U9 --withdrawn
= 0 another person read it
$ history dunlin/steering/U7
= 0 2026-03-02 e18c792b 2 A. Fitter
$ export dunlin/steering/U7 --as raw --out S.BIN --pair even-odd
= 0 S.BIN
$ visit close
= 0 Visit to dunlin of 2026-03-02 is closed; 4 reads on record
$ undo --by 'A. Fitter'
= 0 1 record of kind `visit-closed`
$ undo --redo --by 'A. Fitter'
= 0 1 record of kind `withdrawn`
$ catalogue
= 0 2 vessels, 6 positions, 6 copies
"""
"""The first visit: six units of two vessels, each read twice, and the slips on the way."""

SLIPS = """
$ archive SPARE1.HEX SPARE2.HEX --vessel tern --unit port-thruster --position U12 --by 'A. Fitter'
= 2 position-far
$ archive SPARE1.HEX SPARE2.HEX --vessel tern --unit port-thruster --position U12 --by 'A. Fitter'
> --position-confirmed
= 0 2 reads put on record
$ catalogue tern/port-thruster/U12
= 0 tern/port-thruster/U12 2 2026-03-02 f903d230
$ withdraw tern/port-thruster/U12@latest --reason 'the chip of the spare card' --by 'A. Fitter'
= 0 Left at tern/port-thruster/U12: 2 reads in 1 copy
$ catalogue tern/port-thruster/U12
= 0 tern/port-thruster/U12 1 2026-03-02 65eb44d6 2026-03-02 verified
$ history tern/port-thruster/U12 --withdrawn
= 0 withdrawn on 2026-03-02 by A. Fitter: the chip of the spare card
$ card add tern PC-4471 --card-type TC-2 --by 'A. Fitter'
= 0 tern/card:PC-4471, spare aboard
$ archive SPARE1.HEX SPARE2.HEX --vessel tern --card PC-4471 --position U12 --by 'A. Fitter'
= 0 2 reads put on record for tern/card:PC-4471/U12
$ card list tern
= 0 U12: 1 copy
$ card list dunlin
= 0 No card is on record here
$ card blank --out blank.toml
= 0 blank.toml
$ card program PORT1.HEX --position U7
= 0 sha-256
$ layout draft --chip 24C02 --out winch.toml
= 0 It has no field yet
$ layout check winch.toml
= 0 No mistakes
$ layout attach tern/winch/U3 thruster.toml --by 'A. Fitter'
= 2 layout-chip-differs
$ correct tern/winch/U3 --chip 24C04 --by 'A. Fitter'
= 0 On record for position tern/winch/U3
$ undo --by 'A. Fitter'
= 0 Taken back: 1 record
$ unit add tern/windlass --by 'A. Fitter'
= 0 new unit windlass
$ withdraw tern/windlass --by 'A. Fitter' --reason 'not aboard'
= 0 1 record withdrawn
$ measure tern/port-thruster core_rail=3,31V --by 'A. Fitter'
= 0 Understood: 3,31 V as 3.31 V
$ measure tern/port-thruster core_rail=33V --by 'A. Fitter'
= 0 +29.69
$ undo --by 'A. Fitter'
= 0 1 record of kind `measured`
$ rules record tern rules.toml --by 'A. Fitter'
= 0 The rules of tern are on record
$ catalogue tern/crane/U5
= 0 NOT VERIFIED
$ undo --by 'A. Fitter' --reason 'the rules of another owner'
= 0 1 record of kind `ships-rules`
$ catalogue tern/crane/U5
= 0 verified as read
$ correct tern --imo 1234567 --by 'A. Fitter'
= 0 imo 1234567
$ decode tern/port-thruster/U12
= 0 Every stored check holds
$ compare-units tern
= 0 2 units of this layout
$ export tern/stbd-thruster/U12 --as raw --out STBD.BIN
= 0 read back as the same image
$ diff tern/stbd-thruster/U12 STBD.BIN
= 0 no byte differs
$ diff tern/stbd-thruster/U12 PORT3.HEX
= 1 ramp_up_time
$ due
= 0 Due: 7 of 7 positions
$ backup add office office
= 0 office is a backup location for all vessels
$ backup send office
= 0 office holds everything of 2 vessels
$ due
= 0 Nothing is due among 7 positions
$ catalogue
= 0 2 vessels, 7 positions, 7 copies
$ recheck
= 0 Every file is unchanged
$ rebuild
= 0 The index was made again
$ recheck --seal 'tern, 1 records'
= 2 seal-mistyped
$ history tern/port-thruster/U12 --field run_hours
= 0 5000.0
$ backup list
= 0 office
$ pack dunlin --out dunlin.zip
= 0 Packed whole
$ tables tern --out tables
= 0 Written: 9 tables
$ report copy tern/port-thruster/U12 --out port.html
= 0 Written: port.html
$ seal
= 0 dunlin,
"""
"""Between the visits: a spare's dump under the unit, a unit that is not aboard, a backup."""

DONE_WELL = """
$ visit open tern --by 'B. Mate' --reader 'bench 2'
= 0 Visit to tern (on record already) is open since 2026-09-14
$ archive PORT4.HEX PORT5.HEX --unit port-thruster --position U12
= 0 VERIFIED: separate reads agree
$ diff tern/port-thruster/U12 --since 2026-03-02
= 1 1 parameter changed
$ diff tern/port-thruster/U12 --since 2026-03-02 --remark 'ramp shortened by the chief'
= 1 Remark by B. Mate
$ history tern/port-thruster/U12
= 0 2026-09-14 fc71713d 2 B. Mate ramp shortened by the chief
$ withdraw tern/port-thruster/U12 --remark 'no such remark' --reason wrong
= 2 withdraw-none
$ archive STBD4.HEX STBD5.HEX --unit stbd-thruster --position U12
= 0 VERIFIED: separate reads agree
$ archive BACK1.HEX --unit stbd-thruster --position U12
= 2 do next
$ card record tern/port-thruster unit.toml --by 'B. Mate'
= 0 3 entries
$ card record tern/card:PC-4471 spare.toml --by 'B. Mate'
= 0 3 entries
$ card compare tern/port-thruster --new-card-serial PC-4471
= 0 The same: all 3 entries
$ swap open tern/port-thruster/U12 --by 'B. Mate' --reason 'does not start' --old-card PC-4400
> --new-card-serial PC-4471
= 0 The swap at tern/port-thruster/U12 is open
$ swap open tern/port-thruster/U12 --by 'B. Mate' --reason 'does not start'
= 2 swap-open
$ swap check tern/port-thruster/U12
= 1 NOT READY: diagnosed, final-read
$ swap load-file tern/port-thruster/U12 --as intel-hex --out LOAD.HEX --by 'B. Mate'
= 1 swap-not-ready
$ swap close tern/port-thruster/U12 --by 'B. Mate' --old-card-to ashore
= 1 swap-not-finished
$ swap answer tern/port-thruster/U12 'diagnosed=yes: fuses are good' 'final-read=yes: read today'
> --by 'B. Mate'
= 0 Still missing: authorised, permit
$ swap answer tern/port-thruster/U12 permit yes 'permit 14' --by 'C. Chief'
= 0 permit, yes: permit 14
$ swap answer tern/port-thruster/U12 'authorised=no: the master is ashore' --by 'C. Chief'
= 0 Still missing: authorised
$ swap answer tern/port-thruster/U12 'authorised=yes: the master' 'safeties-inhibited=yes: bridge
> informed' 'fallback-plan=yes: old card back at 16:00' 'old-card-kept=yes: bagged' --by 'C.
> Chief'
= 0 Nothing is missing
$ swap check tern/port-thruster/U12 --new-card spare33.toml
= 1 NOT READY: new-card
$ swap load-file tern/port-thruster/U12 --as intel-hex --out LOAD.HEX --by 'B. Mate'
= 1 new-card
$ swap check tern/port-thruster/U12 --new-card spare.toml
= 0 READY, by what is on record
$ swap load-file tern/port-thruster/U12 --as intel-hex --out LOAD.HEX --by 'B. Mate'
= 0 Written, and read back as the same image
$ swap close tern/port-thruster/U12 --by 'B. Mate' --test 'emergency stop=passed' --old-card-to
> ashore
= 1 contents-proven
$ swap answer tern/port-thruster/U12 'impact=yes: none' 'redundant-channel=not-needed: there is
> none' --by 'C. Chief'
= 0 Nothing is missing
$ swap read-back tern/port-thruster/U12 BACK1.HEX BACK2.HEX --by 'B. Mate'
= 0 LOADED CORRECTLY
$ swap read-back tern/port-thruster/U12 AFTER1.HEX AFTER2.HEX --stage after-power --by 'B. Mate'
= 1 NOT LOADED CORRECTLY
$ swap close tern/port-thruster/U12 --by 'B. Mate' --old-card-to ashore
= 1 swap-not-finished
$ layout attach tern/port-thruster/U12 thruster-b.toml --by 'B. Mate'
= 0 thruster-b.toml is the layout of tern/port-thruster/U12, after thruster.toml
$ decode tern/port-thruster/U12@1
= 0 thruster.toml
$ swap read-back tern/port-thruster/U12 BACK3.HEX BACK4.HEX --by 'B. Mate'
= 0 LOADED CORRECTLY
$ swap read-back tern/port-thruster/U12 AFTER3.HEX AFTER4.HEX --stage after-power --by 'B. Mate'
= 0 LOADED CORRECTLY
$ swap close tern/port-thruster/U12 --by 'B. Mate' --old-card-to ashore
= 1 no function test passed since the card was loaded
$ swap close tern/port-thruster/U12 --by 'B. Mate' --test 'emergency stop=failed' --test 'ramp
> up=passed' --old-card-to ashore
= 1 failed, and did not pass since: emergency stop
$ swap close tern/port-thruster/U12 --by 'B. Mate' --test 'lamp test=passed' --old-card-to ashore
= 1 failed, and did not pass since: emergency stop
$ swap close tern/port-thruster/U12 --by 'B. Mate' --test 'emergency stop=passed' --old-card-to
> ashore
= 0 CLOSED
$ swap close tern/port-thruster/U12 --by 'B. Mate' --test 'emergency stop=passed' --old-card-to
> ashore
= 2 do next
$ card list tern
= 0 tern/card:PC-4400 not recorded ashore
$ history tern/port-thruster/U12
= 0 0 + 2 read back
$ report swap tern/port-thruster/U12 --out swap1.html
= 0 Written: swap1.html
"""
"""The second visit, and a swap done well; the layout is completed late."""

WRONG_LOAD = """
$ swap open tern/stbd-thruster/U12 --by 'B. Mate' --reason smoke --old-card PC-4401
= 0 The swap at tern/stbd-thruster/U12 is open
$ swap answer tern/stbd-thruster/U12 'diagnosed=yes: fuses are good' 'final-read=no: burnt'
> 'authorised=yes: the master' 'permit=yes: permit 14' 'safeties-inhibited=yes: bridge informed'
> 'fallback-plan=yes: old card back at 16:00' 'old-card-kept=yes: bagged' --by 'C. Chief'
= 0 Still missing: final-read
$ swap load-file tern/stbd-thruster/U12 --as s-record --out LOADS.S19 --by 'B. Mate'
= 1 swap-not-ready
$ swap load-file tern/stbd-thruster/U12 --as s-record --out LOADS.S19 --by 'B. Mate' --accept
> read-twice --reason 'in a hurry'
= 2 swap-accept-met
$ swap load-file tern/stbd-thruster/U12 --as s-record --out LOADS.S19 --by 'B. Mate' --accept
> final-read --reason 'the old chip is burnt'
= 0 ACCEPTED DEVIATIONS in this swap: - final-read
$ swap read-back tern/stbd-thruster/U12 SBAD1.HEX SBAD2.HEX --by 'B. Mate'
= 1 NOT LOADED CORRECTLY
$ swap close tern/stbd-thruster/U12 --by 'B. Mate' --test stop=passed --old-card-to scrapped
= 1 swap-not-finished
$ swap close tern/stbd-thruster/U12 --by 'B. Mate' --emergency --reason 'sailing' --old-card-to
> scrapped
= 1 swap-no-emergency
$ swap close tern/stbd-thruster/U12 --by 'B. Mate' --accept contents-proven --reason 'sailing'
> --old-card-to scrapped
= 2 do next
$ swap read-back tern/stbd-thruster/U12 SBACK1.HEX SBACK2.HEX --by 'B. Mate'
= 0 LOADED CORRECTLY
$ swap close tern/stbd-thruster/U12 --by 'B. Mate' --test stop=passed --old-card-to scrapped
= 1 read-back-after-power
$ swap close tern/stbd-thruster/U12 --by 'B. Mate' --test stop=passed --old-card-to scrapped
> --accept read-back-after-power --reason 'no power ashore'
= 0 CLOSED
$ report swap tern/stbd-thruster/U12 --out swap2.html
= 0 Written: swap2.html
$ swap open tern/winch/U3 --by 'B. Mate' --reason 'drops out'
= 0 The swap at tern/winch/U3 is open
$ swap close tern/winch/U3 --by 'B. Mate' --abandoned --reason 'the fuse was the cause'
= 0 is abandoned, and that is on record
$ visit close --remark 'both thrusters swapped'
= 0 Visit to tern of 2026-09-14 is closed; 4 reads on record
$ report visit tern --out visit2.html
= 0 Written: visit2.html
$ due tern
= 0 Due: 2 of 5 positions
"""
"""A swap that meets a wrong load and an acceptance; one that is abandoned."""

EMERGENCY = """
$ visit open dunlin --by 'B. Mate'
= 0 Visit to dunlin (on record already) is open
$ archive BOILER3.S19 --unit boiler --position U9
= 0 3 separate reads gave this image
$ correct dunlin/boiler/U9@latest --read-on 2026-09-13 --by 'B. Mate' --reason 'read the evening
> before'
= 0 On record for 1 read of dunlin/boiler/U9
$ undo --by 'B. Mate'
= 0 Taken back: 1 record
$ swap open dunlin/boiler/U9 --by 'B. Mate' --reason trips
= 0 The swap at dunlin/boiler/U9 is open
$ swap answer dunlin/boiler/U9 'diagnosed=yes: fuses are good' 'final-read=yes: read today'
> 'authorised=yes: the master' 'permit=yes: permit 14' 'safeties-inhibited=yes: bridge informed'
> 'fallback-plan=yes: old card back at 16:00' 'old-card-kept=yes: bagged' --by 'B. Mate'
= 0 Nothing is missing
$ swap load-file dunlin/boiler/U9 --as raw --out LOADB.BIN --by 'B. Mate'
= 0 Written, and read back
$ swap read-back dunlin/boiler/U9 BB1.S19 BB2.S19 --by 'B. Mate'
= 0 LOADED CORRECTLY
$ swap close dunlin/boiler/U9 --by 'B. Mate' --test 'flame failure=passed' --old-card-to 'spare
> aboard'
= 1 read-back-after-power
$ swap close dunlin/boiler/U9 --by 'B. Mate' --emergency --reason 'must sail' --old-card-to 'spare
> aboard'
= 0 CLOSED IN EMERGENCY
$ due dunlin
= 0 still missing: read-back-after-power
$ visit close dunlin
= 0 Visit to dunlin of 2026-09-14 is closed; 1 read on record
$ swap read-back dunlin/boiler/U9 BA1.S19 BA2.S19 --stage after-power --by 'B. Mate'
= 0 LOADED CORRECTLY
$ due dunlin
= 0 still missing: its closing
$ swap close dunlin/boiler/U9 --by 'B. Mate' --test 'flame failure=passed' --old-card-to 'spare
> aboard'
= 0 CLOSED
$ due dunlin
= 0 Nothing is due among 2 positions
$ backup send office
= 0 office holds everything of 2 vessels
$ due
= 0 Nothing is due among 7 positions
$ catalogue
= 0 2 vessels, 7 positions, 10 copies
$ recheck
= 0 Every file is unchanged
"""
"""A swap that is closed in emergency at sea, and finished later."""
