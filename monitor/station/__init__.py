"""The one place that joins source, recorder, pipeline, database, data folder, service and page into a program."""
