"""The scene: what the maker typed, checked and named. Knows no light."""
