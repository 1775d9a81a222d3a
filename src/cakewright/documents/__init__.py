"""Papers and pictures of a plan: everything comes from a WeekPlan, nothing is computed anew about the week."""
