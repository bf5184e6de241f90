"""Engine, schema, migrations and the writer's thread."""
