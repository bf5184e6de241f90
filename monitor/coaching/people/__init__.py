"""What is known of a person: intake, programme, pauses."""
