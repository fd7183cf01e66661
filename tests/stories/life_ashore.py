"""A working life ashore, as commands: a dead laptop, two laptops, a sale, a lost record.

A line that begins with $ is typed. The line with = has its exit code, and words of its answer. A
line with > continues the line before it.
"""

from __future__ import annotations

RECOVERED = """
$ catalogue
= 2 There is no vault here
$ recover ../laptop/office
= 0 Recovered: nothing on record is missing
$ recheck
= 0 Every file is unchanged
$ catalogue
= 0 2 vessels, 7 positions, 10 copies
$ backup list
= 0 office
$ visit open tern --by 'C. Chief'
= 0 Visit to tern (on record already) is open since 2026-10-05
$ archive WINCH4.BIN WINCH5.BIN --unit winch --position U3
= 0 4 separate reads gave this image
$ backup add office ../laptop/office
= 0 office is a backup location for all vessels
$ backup send office
= 0 office holds everything of 2 vessels
$ due
= 0 Nothing is due among 7 positions
"""
"""The laptop is dead: a second person recovers the vault, and reads the winch."""

FIRST_LAPTOP = """
$ visit open tern --by 'A. Fitter'
= 0 Visit to tern (on record already) is open since 2026-10-05
$ archive CRANE4.S19 CRANE5.S19 --unit crane --position U5
= 0 4 separate reads gave this image
$ backup send office --both-ways
= 0 records and 0 files. office holds everything of 2 vessels
$ visit close tern
= 0 Visit to tern of 2026-10-05 is closed; 2 reads on record
$ visit close
= 2 no visit is open from this laptop
$ catalogue
= 0 2 vessels, 7 positions, 10 copies
$ backup send office --both-ways
= 0 records and 0 files. office holds everything of 2 vessels
"""
"""The first laptop runs again, and its vault meets that of the second person."""

MERGED = """
$ backup send office --both-ways
= 0 records and 0 files. office holds everything of 2 vessels
$ visit close
= 0 Visit to tern of 2026-10-05 is closed; 2 reads on record
$ catalogue tern/crane/U5
= 0 tern/crane/U5 1 2026-10-05 1528ea24
$ catalogue tern/winch/U3
= 0 tern/winch/U3 1 2026-10-05 bb13b9ef
$ backup send office
= 0 office holds everything of 2 vessels
$ due
= 0 Nothing is due among 7 positions
$ pack tern --out tern.zip
= 0 Packed whole
"""
"""The second person takes in what the first laptop has, and packs the vessel that is sold."""

SOLD = """
$ unpack ../mate/tern.zip
= 0 vessel tern
$ catalogue
= 0 1 vessel, 5 positions, 8 copies
$ catalogue dunlin
= 2 where-vessel
$ backup list
= 0 No backup location is on record yet
$ due
= 0 Due: 5 of 5 positions
$ backup add shore shore
= 0 shore is a backup location for all vessels
$ backup send shore
= 0 shore holds everything of 1 vessel
$ due
= 0 Nothing is due among 5 positions
$ history tern/port-thruster/U12
= 0 ramp shortened by the chief
$ history tern/port-thruster/U12 --withdrawn
= 0 withdrawn on 2026-03-02 by A. Fitter
$ decode tern/port-thruster/U12@1
= 0 12.5 s
$ swap check tern/port-thruster/U12
= 0 No swap is open here
"""
"""The new owner unpacks the vessel; the former owner's backup location does not count."""

LOST = """
$ catalogue
= 0 NOT VERIFIED: the latest copy of 5 of 5 positions
$ recheck
= 3 The vault is damaged: 1 file
$ due
= 0 Due: 5 of 5 positions
$ swap open tern/crane/U5 --by 'N. Owner' --reason dead
= 0 The swap at tern/crane/U5 is open
$ swap answer tern/crane/U5 'diagnosed=yes: fuses are good' 'final-read=yes: read today'
> 'authorised=yes: the master' 'permit=yes: permit 14' 'safeties-inhibited=yes: bridge informed'
> 'fallback-plan=yes: old card back at 16:00' 'old-card-kept=yes: bagged' --by 'N. Owner'
= 0 old-card-kept, yes: bagged
$ swap check tern/crane/U5
= 3 NOT READY: records-complete
$ swap load-file tern/crane/U5 --as s-record --out LOADC.S19 --by 'N. Owner'
= 3 swap-records-lost
$ swap load-file tern/crane/U5 --as s-record --out LOADC.S19 --by 'N. Owner' --accept
> records-complete --reason 'in a hurry'
= 3 swap-records-lost
$ accept-loss tern/crane --by 'N. Owner' --reason 'no copy has it'
= 0 the loss of 1 file is accepted for 1 position
$ catalogue
= 0 NOT VERIFIED: the latest copy of 4 of 5 positions
$ catalogue tern/crane/U5
= 0 the loss of 1 file was ACCEPTED by N. Owner
$ swap check tern/crane/U5
= 0 READY, by what is on record
$ swap close tern/crane/U5 --by 'N. Owner' --abandoned --reason 'no new card aboard'
= 0 is abandoned
$ accept-loss tern/winch --by 'N. Owner' --reason 'no copy has it'
= 0 accepted for 1 position
$ accept-loss tern --by 'N. Owner' --reason 'no copy has it'
= 0 the loss of 1 file is accepted
$ recheck
= 0 the loss of 1 file was ACCEPTED by N. Owner
$ due
= 0 Nothing is due among 5 positions
$ report copy tern/crane/U5 --out crane.html
= 0 Written: crane.html
"""
"""One record of the new owner's vault is lost in every copy of it."""
