package bolt_test
import ("testing";"fmt";"context";"os";"time";"path/filepath";"tallyhood/store";"tallyhood/store/bolt")
func TestZZ(t *testing.T){
 path:=filepath.Join(t.TempDir(),"big.db"); s:=mustOpen(t,path,bolt.Options{})
 body:=make([]byte,150); b:=time.Now()
 for run:=range 10000 { d:=make([]store.Draft,100); for i:=range d { d[i]=store.Draft{Stream:fmt.Sprint("run-",run),Kind:"squeeze_counted",Version:1,Body:body}}
  if _,err:=s.Append(context.Background(),d...);err!=nil{t.Fatal(err)}}
 t.Log("write",time.Since(b)); s.Close(); i,_:=os.Stat(path); t.Log("size",i.Size())
 b=time.Now(); s=mustOpen(t,path,bolt.Options{}); t.Log("open",time.Since(b))
 b=time.Now(); s.Streams(context.Background(),0,50); t.Log("streams",time.Since(b))
 b=time.Now(); s.ReadStream(context.Background(),"run-5000",func(store.Entry)error{return nil}); t.Log("stream",time.Since(b))
 b=time.Now(); s.Append(context.Background(),store.Draft{Kind:"k",Version:1}); t.Log("append",time.Since(b))
 s.Close(); b=time.Now(); t.Log(bolt.Check(context.Background(),path)); t.Log("check",time.Since(b))
}
