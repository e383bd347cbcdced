"""Everything that imports Streamlit."""
