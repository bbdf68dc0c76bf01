"""Files made to bring a reader down, and what is asked of them: to end in one line within a time and a memory."""
