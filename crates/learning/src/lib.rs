//! What many shots of one player tell of club head, habits, ball and bay.
