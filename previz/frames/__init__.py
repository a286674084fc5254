"""Pictures: proxy frames, hazed frames, video and contact sheets."""
