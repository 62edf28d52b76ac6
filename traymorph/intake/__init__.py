"""The only opener of photos: upright, sRGB, hashed, limited in size."""
