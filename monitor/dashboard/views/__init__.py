"""Shapes of what the dashboard sends: JSON views, response models, problem documents, HTML templates."""
