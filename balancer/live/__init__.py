"""What comes while it comes: sources by name, the stream decoder, the running 1x vector and the recorder."""
