"""Parts of pages as markup: lists, tables and notices around the drawings. Pure functions, no Streamlit."""
