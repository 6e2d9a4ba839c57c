package notify

func renderHTML(v letter) (string, error) { return "", nil }
