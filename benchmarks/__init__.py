"""Budgets of potsim as ratios measured side by side in one run; ``python -m benchmarks`` runs them all."""
