"""A calibration's result as plain data."""

from __future__ import annotations

from typing import Any

from monitor.newtons.calibrating.outcome import Outcome
from monitor.newtons.calibrating.part_figures import PartFigures
from monitor.newtons.calibration import calibration_to_dict
from monitor.newtons.gravity import effect_of


def outcome_to_dict(outcome: Outcome) -> dict[str, Any]:
    """Return the whole result, for programs; units stand in the keys, absent figures are None."""
    plan = outcome.plan
    return {
        "at": outcome.at,
        "gravity_m_s2": plan.gravity_m_s2,
        "gravity_from": plan.gravity_from,
        "gravity_effect_rel": effect_of(plan.gravity_m_s2),
        "temperature_degC": plan.temperature_degC,
        "calibration": calibration_to_dict(outcome.calibration),
        "change_rel": dict(outcome.change_rel),
        "parts": [_part(outcome, figures) for figures in outcome.parts],
        "flags": list(outcome.flags),
    }


def _part(outcome: Outcome, figures: PartFigures) -> dict[str, Any]:
    fit = figures.fit
    cells = []
    for k, column in enumerate(fit.index):
        budget = figures.budgets[k]
        cells.append(
            {
                "channel": outcome.rig.names[column],
                "N_per_count": float(fit.span_N_per_count[k]),
                "u_rel_span": budget.u,
                "coverage_factor_95": budget.coverage_factor(0.95),
                "budget_rel": {line.name: line.part for line in budget.contributions},
                "creep_rel": float(figures.creep_rel[k]) if figures.creep_s else None,
                "zero_drift_N": float(figures.zero_drift_N[k]),
                "noise_N": float(figures.noise_N[k]),
            }
        )
    points = [
        {
            "masses": list(step.masses),
            "place": step.place.label,
            "direction": step.direction,
            "load_N": float(load_N),
            "residual_N": float(residual_N),
            "u_residual_N": float(u_N),
        }
        for step, load_N, residual_N, u_N in zip(
            figures.steps, fit.load_N, fit.residual_N, fit.u_residual_N, strict=True
        )
    ]
    return {
        "part": figures.part,
        "verdict": figures.verdict,
        "u_rel_sum": figures.u_rel_sum,
        "scatter_N": fit.scatter_N,
        "degrees_of_freedom": fit.dof,
        "repeatability_N": figures.repeatability_N,
        "hysteresis_N": figures.hysteresis_N,
        "creep_watched_s": figures.creep_s,
        "zero_watched_s": figures.zero_span_s,
        "checks": [
            {"name": c.name, "value_N": c.value_N, "u_N": c.u_N, "limit_N": c.limit_N, "verdict": c.verdict}
            for c in figures.checks
        ],
        "cells": cells,
        "points": points,
    }
