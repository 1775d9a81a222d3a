"""The database: plans as versions, in tables a person can query, kept when they were acknowledged."""

from cakewright.store.backup import Backup
from cakewright.store.floor import PieceRecord, PieceState, last_words
from cakewright.store.jobs import Job, JobState
from cakewright.store.offers import KeptOffer, OfferEvent
from cakewright.store.open import open_store
from cakewright.store.repo import Store
from cakewright.store.summaries import PlanSummary

__all__ = [
    "Backup",
    "Job",
    "JobState",
    "KeptOffer",
    "OfferEvent",
    "PieceRecord",
    "PieceState",
    "PlanSummary",
    "Store",
    "last_words",
    "open_store",
]
