"""The pages: Streamlit's part of them, and no more. A page asks :mod:`dashboard.queries` and shows panels."""
