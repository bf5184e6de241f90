"""From counts to newtons, holds, measures, records and screens."""
