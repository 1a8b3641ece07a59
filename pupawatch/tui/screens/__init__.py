"""What fills the whole terminal, or stands in front of it."""
