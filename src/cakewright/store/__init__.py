"""The database: plans as versions, in tables a person can query, kept when they were acknowledged."""

from cakewright.store.open import open_store
from cakewright.store.repo import PlanSummary, Store

__all__ = ["PlanSummary", "Store", "open_store"]
