"""What the pages say, worked out from the model: pure functions, no I/O, no Streamlit."""
