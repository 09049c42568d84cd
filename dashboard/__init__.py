"""The pages: Streamlit, reading only the store."""
