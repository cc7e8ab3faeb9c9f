import os, pytest
NAMES=os.environ["LESSONS"].split(",")
@pytest.mark.parametrize("name",NAMES)
def test_shot(lab,browser,name,tmp_path):
    import shutil, pathlib
    from pathlib import Path
    W=int(os.environ.get("W","1280")); H=int(os.environ.get("H","7000"))
    ctx=browser.new_context(viewport={"width":W,"height":H}); page=ctx.new_page()
    msgs=[]
    page.on("pageerror", lambda e: msgs.append(str(e)))
    if os.environ.get("DARK"):
        d=pathlib.Path(lab.log).parent/"settings"/"@jupyterlab"/"apputils-extension"; d.mkdir(parents=True,exist_ok=True)
        (d/"themes.jupyterlab-settings").write_text('{"theme":"JupyterLab Dark"}')
    lab.open(page,name+".ipynb"); 
    lab.run_all(page); page.wait_for_timeout(2500)
    page.screenshot(path=f"/tmp/shots-A/{name}{'-dark' if os.environ.get('DARK') else ''}-{W}.png")
    print(msgs); ctx.close()
    import json
    for s in json.loads(lab.ask("api/sessions")): lab.ask(f"api/sessions/{s['id']}","DELETE")
