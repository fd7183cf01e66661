"""Parambak: keeps, verifies and compares the parameter memories of ships' control units.

The names in `__all__` are the Python API; each is imported at its first use.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from parambak.version import __version__

# --- written by `python3 dev.py documents` from the answers; do not edit by hand ---
__all__ = [
    "AcceptLossAnswer",
    "AcceptLossQuestion",
    "ArchiveAnswer",
    "ArchiveQuestion",
    "BackupAddAnswer",
    "BackupAddQuestion",
    "BackupListAnswer",
    "BackupListQuestion",
    "BackupRemoveAnswer",
    "BackupRemoveQuestion",
    "BackupSendAnswer",
    "BackupSendQuestion",
    "CallRefused",
    "CardAddAnswer",
    "CardAddQuestion",
    "CardBlankAnswer",
    "CardBlankQuestion",
    "CardCompareAnswer",
    "CardCompareQuestion",
    "CardCrossOverAnswer",
    "CardCrossOverQuestion",
    "CardListAnswer",
    "CardListQuestion",
    "CardProgramAnswer",
    "CardProgramQuestion",
    "CardRecordAnswer",
    "CardRecordQuestion",
    "CatalogueAnswer",
    "CatalogueQuestion",
    "CompareUnitsAnswer",
    "CompareUnitsQuestion",
    "CorrectAnswer",
    "CorrectQuestion",
    "DecodeAnswer",
    "DecodeQuestion",
    "DemoAnswer",
    "DemoQuestion",
    "DiffAnswer",
    "DiffQuestion",
    "Differences",
    "DueAnswer",
    "DueQuestion",
    "DumpRefused",
    "ExportAnswer",
    "ExportQuestion",
    "HistoryAnswer",
    "HistoryQuestion",
    "InspectAnswer",
    "InspectQuestion",
    "LayoutAttachAnswer",
    "LayoutAttachQuestion",
    "LayoutCheckAnswer",
    "LayoutCheckQuestion",
    "LayoutDraftAnswer",
    "LayoutDraftQuestion",
    "LayoutFindAnswer",
    "LayoutFindQuestion",
    "LayoutMapAnswer",
    "LayoutMapQuestion",
    "LayoutRefused",
    "MeasureAnswer",
    "MeasureQuestion",
    "NotFound",
    "NotProven",
    "PackAnswer",
    "PackQuestion",
    "PackRefused",
    "ParambakError",
    "PositionAddAnswer",
    "PositionAddQuestion",
    "RebuildAnswer",
    "RebuildQuestion",
    "RecheckAnswer",
    "RecheckQuestion",
    "RecoverAnswer",
    "RecoverQuestion",
    "ReportCopyAnswer",
    "ReportCopyQuestion",
    "ReportSwapAnswer",
    "ReportSwapQuestion",
    "ReportVisitAnswer",
    "ReportVisitQuestion",
    "RulesRecordAnswer",
    "RulesRecordQuestion",
    "SealAnswer",
    "SealQuestion",
    "Session",
    "SheetRefused",
    "SwapAnswerAnswer",
    "SwapAnswerQuestion",
    "SwapCheckAnswer",
    "SwapCheckQuestion",
    "SwapCloseAnswer",
    "SwapCloseQuestion",
    "SwapLoadFileAnswer",
    "SwapLoadFileQuestion",
    "SwapOpenAnswer",
    "SwapOpenQuestion",
    "SwapReadBackAnswer",
    "SwapReadBackQuestion",
    "SwapSelectAnswer",
    "SwapSelectQuestion",
    "TablesAnswer",
    "TablesQuestion",
    "UndoAnswer",
    "UndoQuestion",
    "UnitAddAnswer",
    "UnitAddQuestion",
    "UnpackAnswer",
    "UnpackQuestion",
    "ValuesDiffAnswer",
    "VaultDamaged",
    "VaultRefused",
    "VisitCloseAnswer",
    "VisitCloseQuestion",
    "VisitOpenAnswer",
    "VisitOpenQuestion",
    "WithdrawAnswer",
    "WithdrawQuestion",
    "__version__",
    "ask",
    "compare",
    "decode",
    "load_layout",
    "open_vault",
    "read_dump",
]
_NAMES = {
    "answers.accept_loss": ["AcceptLossAnswer", "AcceptLossQuestion"],
    "answers.archive": ["ArchiveAnswer", "ArchiveQuestion"],
    "answers.backup.add": ["BackupAddAnswer", "BackupAddQuestion"],
    "answers.backup.list": ["BackupListAnswer", "BackupListQuestion"],
    "answers.backup.remove": ["BackupRemoveAnswer", "BackupRemoveQuestion"],
    "answers.backup.send": ["BackupSendAnswer", "BackupSendQuestion"],
    "answers.card.add": ["CardAddAnswer", "CardAddQuestion"],
    "answers.card.blank": ["CardBlankAnswer", "CardBlankQuestion"],
    "answers.card.compare": ["CardCompareAnswer", "CardCompareQuestion"],
    "answers.card.cross_over": ["CardCrossOverAnswer", "CardCrossOverQuestion"],
    "answers.card.list": ["CardListAnswer", "CardListQuestion"],
    "answers.card.program": ["CardProgramAnswer", "CardProgramQuestion"],
    "answers.card.record": ["CardRecordAnswer", "CardRecordQuestion"],
    "answers.catalogue": ["CatalogueAnswer", "CatalogueQuestion"],
    "answers.compare_units": ["CompareUnitsAnswer", "CompareUnitsQuestion"],
    "answers.correct": ["CorrectAnswer", "CorrectQuestion"],
    "answers.decode": ["DecodeAnswer", "DecodeQuestion"],
    "answers.demo": ["DemoAnswer", "DemoQuestion"],
    "answers.diff": ["DiffAnswer", "DiffQuestion", "ValuesDiffAnswer"],
    "answers.due": ["DueAnswer", "DueQuestion"],
    "answers.export": ["ExportAnswer", "ExportQuestion"],
    "answers.history": ["HistoryAnswer", "HistoryQuestion"],
    "answers.inspect": ["InspectAnswer", "InspectQuestion"],
    "answers.layout.attach": ["LayoutAttachAnswer", "LayoutAttachQuestion"],
    "answers.layout.check": ["LayoutCheckAnswer", "LayoutCheckQuestion"],
    "answers.layout.draft": ["LayoutDraftAnswer", "LayoutDraftQuestion"],
    "answers.layout.find": ["LayoutFindAnswer", "LayoutFindQuestion"],
    "answers.layout.map": ["LayoutMapAnswer", "LayoutMapQuestion"],
    "answers.measure": ["MeasureAnswer", "MeasureQuestion"],
    "answers.pack": ["PackAnswer", "PackQuestion"],
    "answers.position.add": ["PositionAddAnswer", "PositionAddQuestion"],
    "answers.rebuild": ["RebuildAnswer", "RebuildQuestion"],
    "answers.recheck": ["RecheckAnswer", "RecheckQuestion"],
    "answers.recover": ["RecoverAnswer", "RecoverQuestion"],
    "answers.report.copy": ["ReportCopyAnswer", "ReportCopyQuestion"],
    "answers.report.swap": ["ReportSwapAnswer", "ReportSwapQuestion"],
    "answers.report.visit": ["ReportVisitAnswer", "ReportVisitQuestion"],
    "answers.rules.record": ["RulesRecordAnswer", "RulesRecordQuestion"],
    "answers.seal": ["SealAnswer", "SealQuestion"],
    "answers.session": ["Session"],
    "answers.swap.answer": ["SwapAnswerAnswer", "SwapAnswerQuestion"],
    "answers.swap.check": ["SwapCheckAnswer", "SwapCheckQuestion"],
    "answers.swap.close": ["SwapCloseAnswer", "SwapCloseQuestion"],
    "answers.swap.load_file": ["SwapLoadFileAnswer", "SwapLoadFileQuestion"],
    "answers.swap.open": ["SwapOpenAnswer", "SwapOpenQuestion"],
    "answers.swap.read_back": ["SwapReadBackAnswer", "SwapReadBackQuestion"],
    "answers.swap.select": ["SwapSelectAnswer", "SwapSelectQuestion"],
    "answers.tables": ["TablesAnswer", "TablesQuestion"],
    "answers.undo": ["UndoAnswer", "UndoQuestion"],
    "answers.unit.add": ["UnitAddAnswer", "UnitAddQuestion"],
    "answers.unpack": ["UnpackAnswer", "UnpackQuestion"],
    "answers.visit.close": ["VisitCloseAnswer", "VisitCloseQuestion"],
    "answers.visit.open": ["VisitOpenAnswer", "VisitOpenQuestion"],
    "answers.withdraw": ["WithdrawAnswer", "WithdrawQuestion"],
    "api": ["Differences", "ask", "compare", "decode", "load_layout", "open_vault", "read_dump"],
    "errors": [
        "CallRefused",
        "DumpRefused",
        "LayoutRefused",
        "NotFound",
        "NotProven",
        "PackRefused",
        "ParambakError",
        "SheetRefused",
        "VaultDamaged",
        "VaultRefused",
    ],
}

if TYPE_CHECKING:
    from parambak.answers.accept_loss import AcceptLossAnswer, AcceptLossQuestion
    from parambak.answers.archive import ArchiveAnswer, ArchiveQuestion
    from parambak.answers.backup.add import BackupAddAnswer, BackupAddQuestion
    from parambak.answers.backup.list import BackupListAnswer, BackupListQuestion
    from parambak.answers.backup.remove import BackupRemoveAnswer, BackupRemoveQuestion
    from parambak.answers.backup.send import BackupSendAnswer, BackupSendQuestion
    from parambak.answers.card.add import CardAddAnswer, CardAddQuestion
    from parambak.answers.card.blank import CardBlankAnswer, CardBlankQuestion
    from parambak.answers.card.compare import CardCompareAnswer, CardCompareQuestion
    from parambak.answers.card.cross_over import CardCrossOverAnswer, CardCrossOverQuestion
    from parambak.answers.card.list import CardListAnswer, CardListQuestion
    from parambak.answers.card.program import CardProgramAnswer, CardProgramQuestion
    from parambak.answers.card.record import CardRecordAnswer, CardRecordQuestion
    from parambak.answers.catalogue import CatalogueAnswer, CatalogueQuestion
    from parambak.answers.compare_units import CompareUnitsAnswer, CompareUnitsQuestion
    from parambak.answers.correct import CorrectAnswer, CorrectQuestion
    from parambak.answers.decode import DecodeAnswer, DecodeQuestion
    from parambak.answers.demo import DemoAnswer, DemoQuestion
    from parambak.answers.diff import DiffAnswer, DiffQuestion, ValuesDiffAnswer
    from parambak.answers.due import DueAnswer, DueQuestion
    from parambak.answers.export import ExportAnswer, ExportQuestion
    from parambak.answers.history import HistoryAnswer, HistoryQuestion
    from parambak.answers.inspect import InspectAnswer, InspectQuestion
    from parambak.answers.layout.attach import LayoutAttachAnswer, LayoutAttachQuestion
    from parambak.answers.layout.check import LayoutCheckAnswer, LayoutCheckQuestion
    from parambak.answers.layout.draft import LayoutDraftAnswer, LayoutDraftQuestion
    from parambak.answers.layout.find import LayoutFindAnswer, LayoutFindQuestion
    from parambak.answers.layout.map import LayoutMapAnswer, LayoutMapQuestion
    from parambak.answers.measure import MeasureAnswer, MeasureQuestion
    from parambak.answers.pack import PackAnswer, PackQuestion
    from parambak.answers.position.add import PositionAddAnswer, PositionAddQuestion
    from parambak.answers.rebuild import RebuildAnswer, RebuildQuestion
    from parambak.answers.recheck import RecheckAnswer, RecheckQuestion
    from parambak.answers.recover import RecoverAnswer, RecoverQuestion
    from parambak.answers.report.copy import ReportCopyAnswer, ReportCopyQuestion
    from parambak.answers.report.swap import ReportSwapAnswer, ReportSwapQuestion
    from parambak.answers.report.visit import ReportVisitAnswer, ReportVisitQuestion
    from parambak.answers.rules.record import RulesRecordAnswer, RulesRecordQuestion
    from parambak.answers.seal import SealAnswer, SealQuestion
    from parambak.answers.session import Session
    from parambak.answers.swap.answer import SwapAnswerAnswer, SwapAnswerQuestion
    from parambak.answers.swap.check import SwapCheckAnswer, SwapCheckQuestion
    from parambak.answers.swap.close import SwapCloseAnswer, SwapCloseQuestion
    from parambak.answers.swap.load_file import SwapLoadFileAnswer, SwapLoadFileQuestion
    from parambak.answers.swap.open import SwapOpenAnswer, SwapOpenQuestion
    from parambak.answers.swap.read_back import SwapReadBackAnswer, SwapReadBackQuestion
    from parambak.answers.swap.select import SwapSelectAnswer, SwapSelectQuestion
    from parambak.answers.tables import TablesAnswer, TablesQuestion
    from parambak.answers.undo import UndoAnswer, UndoQuestion
    from parambak.answers.unit.add import UnitAddAnswer, UnitAddQuestion
    from parambak.answers.unpack import UnpackAnswer, UnpackQuestion
    from parambak.answers.visit.close import VisitCloseAnswer, VisitCloseQuestion
    from parambak.answers.visit.open import VisitOpenAnswer, VisitOpenQuestion
    from parambak.answers.withdraw import WithdrawAnswer, WithdrawQuestion
    from parambak.api import Differences, ask, compare, decode, load_layout, open_vault, read_dump
    from parambak.errors import (
        CallRefused,
        DumpRefused,
        LayoutRefused,
        NotFound,
        NotProven,
        PackRefused,
        ParambakError,
        SheetRefused,
        VaultDamaged,
        VaultRefused,
    )

# --- the end of what is written by `python3 dev.py documents` ---


def __getattr__(name: str) -> object:
    """Import what is asked for from the module that has it."""
    for module, names in _NAMES.items():
        if name in names:
            return getattr(import_module(f"parambak.{module}"), name)
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
