"""Pictures of pictures: contact sheets to look at and to hand round."""
