"""Parambak: keeps, verifies and compares the parameter memories of ships' control units.

What stands in `__all__` is the Python API; it is imported where it is first used.
"""

from importlib import import_module
from typing import TYPE_CHECKING

from parambak.version import __version__

# --- written by `python3 dev.py documents` from the answers; do not edit by hand ---
__all__ = [
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
    "UnpackAnswer",
    "UnpackQuestion",
    "ValuesDiffAnswer",
    "VaultDamaged",
    "VaultRefused",
    "VisitCloseAnswer",
    "VisitCloseQuestion",
    "VisitOpenAnswer",
    "VisitOpenQuestion",
    "__version__",
    "ask",
    "compare",
    "decode",
    "load_layout",
    "open_vault",
    "read_dump",
]
_MODULES = {
    "ArchiveAnswer": "answers.archive",
    "ArchiveQuestion": "answers.archive",
    "BackupAddAnswer": "answers.backup.add",
    "BackupAddQuestion": "answers.backup.add",
    "BackupListAnswer": "answers.backup.list",
    "BackupListQuestion": "answers.backup.list",
    "BackupRemoveAnswer": "answers.backup.remove",
    "BackupRemoveQuestion": "answers.backup.remove",
    "BackupSendAnswer": "answers.backup.send",
    "BackupSendQuestion": "answers.backup.send",
    "CallRefused": "errors",
    "CardAddAnswer": "answers.card.add",
    "CardAddQuestion": "answers.card.add",
    "CardBlankAnswer": "answers.card.blank",
    "CardBlankQuestion": "answers.card.blank",
    "CardCompareAnswer": "answers.card.compare",
    "CardCompareQuestion": "answers.card.compare",
    "CardCrossOverAnswer": "answers.card.cross_over",
    "CardCrossOverQuestion": "answers.card.cross_over",
    "CardListAnswer": "answers.card.list",
    "CardListQuestion": "answers.card.list",
    "CardProgramAnswer": "answers.card.program",
    "CardProgramQuestion": "answers.card.program",
    "CardRecordAnswer": "answers.card.record",
    "CardRecordQuestion": "answers.card.record",
    "CatalogueAnswer": "answers.catalogue",
    "CatalogueQuestion": "answers.catalogue",
    "CompareUnitsAnswer": "answers.compare_units",
    "CompareUnitsQuestion": "answers.compare_units",
    "CorrectAnswer": "answers.correct",
    "CorrectQuestion": "answers.correct",
    "DecodeAnswer": "answers.decode",
    "DecodeQuestion": "answers.decode",
    "DemoAnswer": "answers.demo",
    "DemoQuestion": "answers.demo",
    "DiffAnswer": "answers.diff",
    "DiffQuestion": "answers.diff",
    "Differences": "api",
    "DueAnswer": "answers.due",
    "DueQuestion": "answers.due",
    "DumpRefused": "errors",
    "ExportAnswer": "answers.export",
    "ExportQuestion": "answers.export",
    "HistoryAnswer": "answers.history",
    "HistoryQuestion": "answers.history",
    "InspectAnswer": "answers.inspect",
    "InspectQuestion": "answers.inspect",
    "LayoutCheckAnswer": "answers.layout.check",
    "LayoutCheckQuestion": "answers.layout.check",
    "LayoutDraftAnswer": "answers.layout.draft",
    "LayoutDraftQuestion": "answers.layout.draft",
    "LayoutFindAnswer": "answers.layout.find",
    "LayoutFindQuestion": "answers.layout.find",
    "LayoutMapAnswer": "answers.layout.map",
    "LayoutMapQuestion": "answers.layout.map",
    "LayoutRefused": "errors",
    "MeasureAnswer": "answers.measure",
    "MeasureQuestion": "answers.measure",
    "NotFound": "errors",
    "NotProven": "errors",
    "PackAnswer": "answers.pack",
    "PackQuestion": "answers.pack",
    "PackRefused": "errors",
    "ParambakError": "errors",
    "RebuildAnswer": "answers.rebuild",
    "RebuildQuestion": "answers.rebuild",
    "RecheckAnswer": "answers.recheck",
    "RecheckQuestion": "answers.recheck",
    "RecoverAnswer": "answers.recover",
    "RecoverQuestion": "answers.recover",
    "ReportCopyAnswer": "answers.report.copy",
    "ReportCopyQuestion": "answers.report.copy",
    "ReportSwapAnswer": "answers.report.swap",
    "ReportSwapQuestion": "answers.report.swap",
    "ReportVisitAnswer": "answers.report.visit",
    "ReportVisitQuestion": "answers.report.visit",
    "RulesRecordAnswer": "answers.rules.record",
    "RulesRecordQuestion": "answers.rules.record",
    "SealAnswer": "answers.seal",
    "SealQuestion": "answers.seal",
    "Session": "answers.session",
    "SheetRefused": "errors",
    "SwapAnswerAnswer": "answers.swap.answer",
    "SwapAnswerQuestion": "answers.swap.answer",
    "SwapCheckAnswer": "answers.swap.check",
    "SwapCheckQuestion": "answers.swap.check",
    "SwapCloseAnswer": "answers.swap.close",
    "SwapCloseQuestion": "answers.swap.close",
    "SwapLoadFileAnswer": "answers.swap.load_file",
    "SwapLoadFileQuestion": "answers.swap.load_file",
    "SwapOpenAnswer": "answers.swap.open",
    "SwapOpenQuestion": "answers.swap.open",
    "SwapReadBackAnswer": "answers.swap.read_back",
    "SwapReadBackQuestion": "answers.swap.read_back",
    "SwapSelectAnswer": "answers.swap.select",
    "SwapSelectQuestion": "answers.swap.select",
    "TablesAnswer": "answers.tables",
    "TablesQuestion": "answers.tables",
    "UnpackAnswer": "answers.unpack",
    "UnpackQuestion": "answers.unpack",
    "ValuesDiffAnswer": "answers.diff",
    "VaultDamaged": "errors",
    "VaultRefused": "errors",
    "VisitCloseAnswer": "answers.visit.close",
    "VisitCloseQuestion": "answers.visit.close",
    "VisitOpenAnswer": "answers.visit.open",
    "VisitOpenQuestion": "answers.visit.open",
    "ask": "api",
    "compare": "api",
    "decode": "api",
    "load_layout": "api",
    "open_vault": "api",
    "read_dump": "api",
}

if TYPE_CHECKING:
    from typing import Any, overload

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
    from parambak.answers.layout.check import LayoutCheckAnswer, LayoutCheckQuestion
    from parambak.answers.layout.draft import LayoutDraftAnswer, LayoutDraftQuestion
    from parambak.answers.layout.find import LayoutFindAnswer, LayoutFindQuestion
    from parambak.answers.layout.map import LayoutMapAnswer, LayoutMapQuestion
    from parambak.answers.measure import MeasureAnswer, MeasureQuestion
    from parambak.answers.pack import PackAnswer, PackQuestion
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
    from parambak.answers.unpack import UnpackAnswer, UnpackQuestion
    from parambak.answers.visit.close import VisitCloseAnswer, VisitCloseQuestion
    from parambak.answers.visit.open import VisitOpenAnswer, VisitOpenQuestion
    from parambak.api import Differences, compare, decode, load_layout, open_vault, read_dump
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

    @overload
    def ask(session: Session, question: ArchiveQuestion) -> ArchiveAnswer: ...

    @overload
    def ask(session: Session, question: BackupAddQuestion) -> BackupAddAnswer: ...

    @overload
    def ask(session: Session, question: BackupListQuestion) -> BackupListAnswer: ...

    @overload
    def ask(session: Session, question: BackupRemoveQuestion) -> BackupRemoveAnswer: ...

    @overload
    def ask(session: Session, question: BackupSendQuestion) -> BackupSendAnswer: ...

    @overload
    def ask(session: Session, question: CardAddQuestion) -> CardAddAnswer: ...

    @overload
    def ask(session: Session, question: CardBlankQuestion) -> CardBlankAnswer: ...

    @overload
    def ask(session: Session, question: CardCompareQuestion) -> CardCompareAnswer: ...

    @overload
    def ask(session: Session, question: CardCrossOverQuestion) -> CardCrossOverAnswer: ...

    @overload
    def ask(session: Session, question: CardListQuestion) -> CardListAnswer: ...

    @overload
    def ask(session: Session, question: CardProgramQuestion) -> CardProgramAnswer: ...

    @overload
    def ask(session: Session, question: CardRecordQuestion) -> CardRecordAnswer: ...

    @overload
    def ask(session: Session, question: CatalogueQuestion) -> CatalogueAnswer: ...

    @overload
    def ask(session: Session, question: CompareUnitsQuestion) -> CompareUnitsAnswer: ...

    @overload
    def ask(session: Session, question: CorrectQuestion) -> CorrectAnswer: ...

    @overload
    def ask(session: Session, question: DecodeQuestion) -> DecodeAnswer: ...

    @overload
    def ask(session: Session, question: DemoQuestion) -> DemoAnswer: ...

    @overload
    def ask(session: Session, question: DiffQuestion) -> DiffAnswer | ValuesDiffAnswer: ...

    @overload
    def ask(session: Session, question: DueQuestion) -> DueAnswer: ...

    @overload
    def ask(session: Session, question: ExportQuestion) -> ExportAnswer: ...

    @overload
    def ask(session: Session, question: HistoryQuestion) -> HistoryAnswer: ...

    @overload
    def ask(session: Session, question: InspectQuestion) -> InspectAnswer: ...

    @overload
    def ask(session: Session, question: LayoutCheckQuestion) -> LayoutCheckAnswer: ...

    @overload
    def ask(session: Session, question: LayoutDraftQuestion) -> LayoutDraftAnswer: ...

    @overload
    def ask(session: Session, question: LayoutFindQuestion) -> LayoutFindAnswer: ...

    @overload
    def ask(session: Session, question: LayoutMapQuestion) -> LayoutMapAnswer: ...

    @overload
    def ask(session: Session, question: MeasureQuestion) -> MeasureAnswer: ...

    @overload
    def ask(session: Session, question: PackQuestion) -> PackAnswer: ...

    @overload
    def ask(session: Session, question: RebuildQuestion) -> RebuildAnswer: ...

    @overload
    def ask(session: Session, question: RecheckQuestion) -> RecheckAnswer: ...

    @overload
    def ask(session: Session, question: RecoverQuestion) -> RecoverAnswer: ...

    @overload
    def ask(session: Session, question: ReportCopyQuestion) -> ReportCopyAnswer: ...

    @overload
    def ask(session: Session, question: ReportSwapQuestion) -> ReportSwapAnswer: ...

    @overload
    def ask(session: Session, question: ReportVisitQuestion) -> ReportVisitAnswer: ...

    @overload
    def ask(session: Session, question: RulesRecordQuestion) -> RulesRecordAnswer: ...

    @overload
    def ask(session: Session, question: SealQuestion) -> SealAnswer: ...

    @overload
    def ask(session: Session, question: SwapAnswerQuestion) -> SwapAnswerAnswer: ...

    @overload
    def ask(session: Session, question: SwapCheckQuestion) -> SwapCheckAnswer: ...

    @overload
    def ask(session: Session, question: SwapCloseQuestion) -> SwapCloseAnswer: ...

    @overload
    def ask(session: Session, question: SwapLoadFileQuestion) -> SwapLoadFileAnswer: ...

    @overload
    def ask(session: Session, question: SwapOpenQuestion) -> SwapOpenAnswer: ...

    @overload
    def ask(session: Session, question: SwapReadBackQuestion) -> SwapReadBackAnswer: ...

    @overload
    def ask(session: Session, question: SwapSelectQuestion) -> SwapSelectAnswer: ...

    @overload
    def ask(session: Session, question: TablesQuestion) -> TablesAnswer: ...

    @overload
    def ask(session: Session, question: UnpackQuestion) -> UnpackAnswer: ...

    @overload
    def ask(session: Session, question: VisitCloseQuestion) -> VisitCloseAnswer: ...

    @overload
    def ask(session: Session, question: VisitOpenQuestion) -> VisitOpenAnswer: ...

    def ask(session: Session, question: Any) -> Any:
        """Return the answer; raise ParambakError where there is none."""

# --- the end of what is written by `python3 dev.py documents` ---


def __getattr__(name: str) -> object:
    """Import what is asked for from the module that has it."""
    if name not in _MODULES:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module(f"parambak.{_MODULES[name]}"), name)
